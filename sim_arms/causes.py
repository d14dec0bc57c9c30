"""What a fault case may set: causes in the world, never outcomes.

The arms, the floor and the network ask whether a cause acts here and now; physics decides what
comes of it.

Units: cause parameters are SI by their dimension word; ``*_us`` microseconds since the start.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sim_arms.catalogue import CATALOGUE, CauseKind

__all__ = ["CATALOGUE", "Cause", "CauseKind", "Causes", "floor_signals", "parameter"]


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause of a case; where a field is None it acts everywhere, at once or for ever."""

    cause: str
    side: str | None = None
    bolt: int | None = None
    at_us: int | None = None
    for_us: int | None = None
    times: int | None = None
    parameters: tuple[tuple[str, float], ...] = ()


class Causes:
    """The causes of one case as one party sees them; counts how often each has acted here."""

    def __init__(self, causes: Sequence[Cause] = ()) -> None:
        """Take the causes of a case.

        Raises:
            ValueError: A cause or a parameter is not in the catalogue.
        """
        self._by_name: dict[str, list[Cause]] = {}
        self._used: dict[int, int] = {}
        self.acted: dict[Cause, None] = {}
        """Those that somebody asked for while they acted."""
        self.asked: dict[tuple[str, float, str, int], None] | None = None
        """If it is wanted: which kind was asked for, when, on which side and bolt ("", 0: any)."""
        self.add(causes)

    def add(self, causes: Sequence[Cause]) -> None:
        """Take more causes of the case.

        Raises:
            ValueError: A cause or a parameter is not in the catalogue.
        """
        for cause in causes:
            kind = CATALOGUE.get(cause.cause)
            if kind is None:
                raise ValueError(f"cause '{cause.cause}' is not in the catalogue")
            for name, _ in cause.parameters:
                if name not in kind.parameters:
                    raise ValueError(f"cause '{cause.cause}' has no parameter '{name}'")
            self._by_name.setdefault(cause.cause, []).append(cause)

    def acting(
        self, name: str, now_s: float, *, side: str | None = None, bolt: int | None = None
    ) -> Cause | None:
        """Return the first cause of a kind that acts here and now, without counting it."""
        if self.asked is not None:
            self.asked[name, now_s, side or "", bolt or 0] = None
        for cause in self._by_name.get(name, ()):
            if self._acts(cause, now_s, side, bolt):
                self.acted[cause] = None
                return cause
        return None

    def may_act(self, names: Sequence[str]) -> bool:
        """Tell whether it is worth asking for any of these kinds."""
        return self.asked is not None or not self._by_name.keys().isdisjoint(names)

    def use(
        self, name: str, now_s: float, *, side: str | None = None, bolt: int | None = None
    ) -> Cause | None:
        """Return the first cause that acts here and now, and count that it did."""
        cause = self.acting(name, now_s, side=side, bolt=bolt)
        if cause is not None:
            self._used[id(cause)] = self._used.get(id(cause), 0) + 1
        return cause

    def all_acting(self, name: str, now_s: float) -> tuple[Cause, ...]:
        """Return every cause of a kind that acts now, on whatever it acts."""
        causes = self._by_name.get(name, ())
        acting = tuple(c for c in causes if self._acts(c, now_s, c.side, c.bolt))
        self.acted.update(dict.fromkeys(acting))
        return acting

    def _acts(self, cause: Cause, now_s: float, side: str | None, bolt: int | None) -> bool:
        if cause.side is not None and cause.side != side:
            return False
        if cause.bolt is not None and cause.bolt != bolt:
            return False
        start_us = cause.at_us or 0
        if now_s * 1e6 < start_us:
            return False
        if cause.for_us is not None and now_s * 1e6 >= start_us + cause.for_us:
            return False
        times = CATALOGUE[cause.cause].times if cause.times is None else cause.times
        return times is None or self._used.get(id(cause), 0) < times


_SIGNALS = (
    ("person_steps_in", "floor_clear", False),
    ("scanner_silent", "floor_clear", None),
    ("string_moves", "string_still", False),
    ("load_overhead_stays", "nothing_overhead", False),
    ("supply_low", "hydraulics_ready", False),
)
"""What each cause makes of which signal."""
_ON_FLOOR = ("signal_silent", *(cause for cause, _, _ in _SIGNALS))


def parameter(cause: Cause, name: str) -> float:
    """Return a parameter of a cause, by default that of the catalogue."""
    for given, value in cause.parameters:
        if given == name:
            return value
    return CATALOGUE[cause.cause].parameters[name].default


def floor_signals(
    causes: Causes, now_s: float, signals: Mapping[str, bool | None]
) -> dict[str, bool | None] | None:
    """Return the floor's signals as the causes leave them.

    Args:
        causes: The causes of the case.
        now_s: Seconds since the start.
        signals: The signals as floor and hoist mean them.

    Returns:
        The signals to publish, in the same order; None where nothing is published at all.
    """
    changed = dict(signals)
    if not causes.may_act(_ON_FLOOR):
        return changed
    if causes.acting("signal_silent", now_s) is not None:
        return None
    for cause, signal, value in _SIGNALS:
        # A supply that is low for one side only does not show at the power unit.
        if signal in changed and causes.acting(cause, now_s) is not None:
            changed[signal] = value
    return changed
