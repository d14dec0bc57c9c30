"""Tell from what crosses the bus which states of which points have been seen.

Units: ``*_us`` whole microseconds of the cell's clock.
Invariants: CM14, a point is seen neither from the broker's memory nor in another's name.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from coordinator.commissioning.points import (
    ACTIVE,
    FALSE,
    GONE,
    GOOD,
    MOUNTED,
    NUMBER,
    OFF,
    THERE,
    TRUE,
    UNKNOWN,
    Point,
)
from coordinator.live.translate import numeric_results
from coordinator.sequence.models.cell_model import CellModel
from coordinator.wire.messages import Faulted, Finished, FloorSignals, Message, PartyState
from coordinator.wire.topics import FLOOR

SILENT_US = 4_000_000
"""As the core has it: a party without a heartbeat for this long counts as lost."""


@dataclass(frozen=True, slots=True)
class Sighting:
    """A state of a point that was seen."""

    tag: str
    state: str
    at_us: int
    simulated: bool | None
    """What the party says of itself; None while it has said nothing."""


class PointWatch:
    """Listens for one cell; decides nothing and sends nothing."""

    def __init__(self, cell: CellModel, points: tuple[Point, ...]) -> None:
        self._cell = cell
        self._expected = {(one.tag, state) for one in points for state in one.expected}
        self._simulated: dict[str, bool] = {}
        self._beats_us: dict[str, int] = {}
        self._signals: dict[str, tuple[bool | None, int]] = {}

    def hear(self, message: Message, retained: bool, now_us: int) -> list[Sighting]:
        """Take in one message and return what it shows."""
        if retained or message.source != message.subject:
            return []
        party = FLOOR if message.source == self._cell.hoist else message.source
        found: list[tuple[str, str]] = []
        match message.body:
            case PartyState() as state:
                found = list(self._of_state(party, state, now_us))
            case FloorSignals(signals) if party == FLOOR:
                found = list(self._of_signals(dict(signals), now_us))
            case Finished(_, results) | Faulted(_, _, results):
                found = [
                    (f"{party}/reading/{name}", NUMBER) for name, _ in numeric_results(results)
                ]
        return self._sighted(found, now_us)

    def pass_time(self, now_us: int) -> list[Sighting]:
        """Return what has grown too old meanwhile."""
        found = [
            (f"{FLOOR}/{one.kind}/{name}", UNKNOWN)
            for name, one in self._cell.interlocks.items()
            if self._is_old(one.good_when, now_us)
        ]
        for party, beat_us in list(self._beats_us.items()):
            if now_us - beat_us > SILENT_US:
                found.append((f"{party}/link", GONE))
                del self._beats_us[party]
        return self._sighted(found, now_us)

    def _of_state(self, party: str, body: PartyState, now_us: int) -> Iterator[tuple[str, str]]:
        if not body.online:
            self._beats_us.pop(party, None)
            yield f"{party}/link", GONE
            return
        self._simulated[party] = body.simulated
        self._beats_us[party] = now_us
        yield f"{party}/link", THERE
        yield f"{party}/state", body.state
        for tool in self._cell.sides[party].tools if party in self._cell.sides else ():
            yield f"{party}/tool/{tool}", MOUNTED if body.tool == tool else OFF

    def _of_signals(
        self, signals: dict[str, bool | None], now_us: int
    ) -> Iterator[tuple[str, str]]:
        for name, value in signals.items():
            self._signals[name] = value, now_us
            if value is not None:
                yield f"{FLOOR}/signal/{name}", TRUE if value else FALSE
        words = {True: GOOD, False: ACTIVE, None: UNKNOWN}
        for name, one in self._cell.interlocks.items():
            if one.good_when in signals:
                yield f"{FLOOR}/{one.kind}/{name}", words[signals[one.good_when]]

    def _is_old(self, signal: str, now_us: int) -> bool:
        seen = self._signals.get(signal)
        return seen is not None and now_us - seen[1] > self._cell.signals[signal].max_age

    def _sighted(self, found: list[tuple[str, str]], now_us: int) -> list[Sighting]:
        return [
            Sighting(tag, state, now_us, self._simulated.get(tag.partition("/")[0]))
            for tag, state in found
            if (tag, state) in self._expected
        ]
