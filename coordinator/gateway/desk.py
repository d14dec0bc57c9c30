"""Decide what each signal of the floor is now, from what controllers have answered and when.

Units: ``*_us`` whole microseconds of the cell's clock.
Invariants: GW1, a signal is told true or false only from a good, fresh answer of a living
controller; GW2, no value outlives the link it came over, nor the time in which it must be read
anew.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from coordinator.gateway.meaning import Word, truth
from coordinator.sequence.models.gateway_model import (
    GatewayModel,
    GatewaySignalModel,
    GatewaySourceModel,
)


@dataclass(frozen=True, slots=True)
class Place:
    """Where a number or bit stands in a controller, and, for Modbus, as what."""

    at: str
    number: str = "uint16"
    low_word_first: bool = False


@dataclass(frozen=True, slots=True)
class Reading:
    """What a controller says stands at one place."""

    value: Word | None
    """None where it gives no single number or bit."""
    wrong: str = ""
    """Why the controller itself does not vouch for it; empty if it does."""
    stamped_us: int | None = None
    """When the source says it took the value."""


Readings = Mapping[Place, Reading]


@dataclass(frozen=True, slots=True)
class Told:
    """A signal as it is told on the bus, and what that rests on."""

    value: bool | None
    """None for unknown."""
    why: str = ""
    """Why it is unknown; empty if it is not."""
    found: Word | None = None
    """What stands at its place now."""
    age_us: int | None = None
    """Of what stands there: since its stamp where stamps are judged, else since it was asked."""


@dataclass(slots=True)
class _Source:
    answered_us: int
    readings: Readings
    beat: Word | None = None
    changed_us: int | None = None
    lost: str = "never heard"


class Desk:
    """What was heard from every controller, and what follows for the signals."""

    def __init__(self, gateway: GatewayModel) -> None:
        """Begin with nothing known."""
        self._gateway = gateway
        self._sources = {name: _Source(0, {}) for name in gateway.sources}

    def places_of(self, source: str) -> tuple[Place, ...]:
        """Return every place that must be read from a controller, each once."""
        signals = self._gateway.signals.values()
        places = [_place_of(one) for one in signals if one.source == source]
        alive = self._gateway.sources[source].alive
        return tuple(dict.fromkeys([*places, *([Place(alive)] if alive is not None else [])]))

    def take(self, source: str, readings: Readings, asked_us: int) -> None:
        """Take an answer up; its age counts from when it was asked for."""
        heard, model = self._sources[source], self._gateway.sources[source]
        heard.answered_us, heard.readings, heard.lost = asked_us, readings, ""
        if model.alive is None:
            return
        beat = readings.get(Place(model.alive), Reading(None, "not answered"))
        if beat.wrong or beat.value is None or not math.isfinite(beat.value):
            heard.beat = heard.changed_us = None
        elif heard.beat is None:
            heard.beat = beat.value  # Whether it lives shows at the next change.
        elif beat.value != heard.beat:
            heard.beat, heard.changed_us = beat.value, asked_us

    def lose(self, source: str, why: str) -> None:
        """Forget everything that was heard from a controller."""
        self._sources[source] = _Source(0, {}, lost=why)

    def signals(self, now_us: int) -> dict[str, Told]:
        """Return every signal as it stands now."""
        return {name: self._told(one, now_us) for name, one in self._gateway.signals.items()}

    def _told(self, signal: GatewaySignalModel, now_us: int) -> Told:
        source, heard = self._gateway.sources[signal.source], self._sources[signal.source]
        reading = heard.readings.get(_place_of(signal), Reading(None, "it is not answered"))
        silence = self._silence(signal.source, source, now_us)
        if heard.lost:
            return Told(None, f"{signal.source}: {silence}")
        age_us = now_us - heard.answered_us
        if source.stamp_max is not None and reading.stamped_us is not None:
            age_us = now_us - reading.stamped_us
        value = truth(signal, reading.value)
        why = reading.wrong or silence or _staleness(source, reading, now_us)
        if not why and value is None:
            why = f"{reading.value!r} is no yes or no"
        return Told(None if why else value, why, reading.value, age_us)

    def _silence(self, name: str, source: GatewaySourceModel, now_us: int) -> str:
        """Return why nothing that a controller says counts now."""
        heard = self._sources[name]
        if heard.lost:
            return heard.lost
        if not 0 <= now_us - heard.answered_us <= source.every + source.timeout:
            return "its last answer is too old"
        if source.alive is None:
            return ""
        beat = heard.readings.get(Place(source.alive))
        if beat is not None and beat.wrong:
            return f"{source.alive}: {beat.wrong}"
        if heard.changed_us is None:
            return f"{source.alive} has not been seen to change"
        if not 0 <= now_us - heard.changed_us <= source.alive_max:
            return f"{source.alive} stands still"
        return ""


def _staleness(source: GatewaySourceModel, reading: Reading, now_us: int) -> str:
    if source.stamp_max is None:
        return ""
    if reading.stamped_us is None:
        return "it has no source time stamp"
    age_us = now_us - reading.stamped_us
    if abs(age_us) <= source.stamp_max:
        return ""
    return f"its source time stamp is {age_us / 1e6:.2f} s old"


def _place_of(signal: GatewaySignalModel) -> Place:
    return Place(signal.at, signal.number, signal.low_word_first)
