"""What a fault case may set: causes in the world, never outcomes.

The arms, the floor and the network ask whether a cause acts here and now; physics decides what
comes of it.

Units: cause parameters are SI by their dimension word; ``*_us`` microseconds since the start.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

AppliesTo = Literal["bolt", "side", "floor", "bus", "process"]
Dimension = Literal["length", "angle", "torque", "pressure", "number", "time", "ratio"]

_TRADE = "common practice, no source"
_CHOSEN = "chosen"


@dataclass(frozen=True, slots=True)
class Quantity:
    """A parameter of a cause: its dimension, and its value where a case does not give one."""

    dimension: Dimension
    default: float


@dataclass(frozen=True, slots=True)
class CauseKind:
    """One entry of the catalogue."""

    name: str
    text: str
    applies_to: AppliesTo
    parameters: Mapping[str, Quantity] = field(default_factory=dict)
    detected_by: tuple[str, ...] = ()
    """Fault kinds by which it may show; a cause may also go unseen."""
    times: int | None = None
    """How often it acts where a case does not say; None for as long as it lasts."""
    is_placed: bool = False
    """Whether a case must name the party that it acts on."""
    source: str = _TRADE


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


def _length(default: float) -> Quantity:
    return Quantity("length", default)


def _angle(default: float) -> Quantity:
    return Quantity("angle", default)


def _torque(default: float) -> Quantity:
    return Quantity("torque", default)


def _ratio(default: float) -> Quantity:
    return Quantity("ratio", default)


_KINDS = (
    # On bolts --------------------------------------------------------------------------------
    CauseKind(
        "hex_angle_wrong",
        "the camera reports the angle of a hex off by this much",
        "bolt",
        {"off": _angle(0.26)},
        ("socket_not_seated",),
        times=1,
    ),
    CauseKind(
        "burr",
        "a burr on one corner of the hex takes the play of the socket there",
        "bolt",
        {"height": _length(2.0e-3), "corner": Quantity("number", -1.0)},
        ("socket_not_seated",),
    ),
    CauseKind(
        "bolt_misplaced",
        "the camera places the hole off by this much, until it looks again",
        "bolt",
        {"off_x": _length(3.0e-3), "off_y": _length(0.0)},
        ("thread_stalled", "never_entered"),
        times=1,
    ),
    CauseKind(
        "bolt_missing",
        "the place of the bolt in the bin is empty",
        "bolt",
        {},
        ("not_located", "bolt_not_held"),
    ),
    CauseKind(
        "swarf_in_thread",
        "swarf makes the thread run harder turn by turn; backing off sheds most of it",
        "bolt",
        {"torque_per_turn": _torque(30.0), "turns_in": Quantity("number", 4.0)},
        ("thread_stalled",),
    ),
    CauseKind(
        "crossed_start",
        "the bolt leans by this much when it is set into the hole",
        "bolt",
        {"lean": _angle(0.06)},
        ("cross_thread",),
        times=1,
    ),
    CauseKind(
        "bolt_weak",
        "the bolt breaks at this share of its yield load",
        "bolt",
        {"share": _ratio(0.35)},
        ("bolt_broken",),
    ),
    CauseKind(
        "bolt_soft",
        "the bolt yields at this share of its yield load",
        "bolt",
        {"share": _ratio(0.35)},
        ("turns_without_torque",),
    ),
    CauseKind(
        "seized_bolt",
        "rust or galling multiplies the break-out torque",
        "bolt",
        {"factor": _ratio(2.5)},
        ("not_loose",),
    ),
    CauseKind(
        "friction_high",
        "dry grease multiplies the friction of the bolt; the torque looks right, the load is low",
        "bolt",
        {"factor": _ratio(1.8)},
        ("out_of_window", "nut_turned"),
    ),
    # On one arm, or on both ------------------------------------------------------------------
    CauseKind(
        "supply_low",
        "the hydraulic supply gives only this pressure",
        "side",
        {"pressure": Quantity("pressure", 8.0e6)},
        ("torque_not_reached", "torque_not_held", "not_loose"),
    ),
    CauseKind(
        "leak",
        "a hose or seal leaks this share of the pressure each second",
        "side",
        {"share_per_s": _ratio(0.1)},
        ("leak", "torque_not_held"),
    ),
    CauseKind(
        "reaction_slip",
        "the reaction arm slips off its neighbour above this torque",
        "side",
        {"torque": _torque(800.0)},
        ("reaction_lost",),
        times=1,
    ),
    CauseKind(
        "glare",
        "glare costs the camera this share of its edges",
        "side",
        {"share": _ratio(0.5)},
        ("not_located",),
    ),
    CauseKind(
        "tool_lock_fails",
        "the lock of the tool changer does not confirm",
        "side",
        {},
        ("tool_not_locked",),
        times=1,
    ),
    CauseKind(
        "gripper_slips",
        "a part slips out of the tool while it is carried",
        "side",
        {},
        ("part_dropped",),
        times=1,
    ),
    CauseKind(
        "fork_slips",
        "the retaining fork closes above the collar of the bolt",
        "side",
        {},
        ("bolt_not_held",),
        times=1,
    ),
    CauseKind(
        "slow_arm",
        "the arm moves slower by this factor",
        "side",
        {"factor": _ratio(3.0)},
        ("timeout",),
    ),
    # On the floor ----------------------------------------------------------------------------
    CauseKind(
        "joint_shift",
        "the joint moves by this much",
        "floor",
        {"off_x": _length(8.0e-3), "off_y": _length(0.0), "turn": _angle(0.0)},
        ("never_entered", "thread_stalled", "socket_not_seated"),
    ),
    CauseKind("person_steps_in", "somebody steps over the line", "floor"),
    CauseKind("scanner_silent", "the scanner that watches the floor gives no value", "floor"),
    CauseKind("signal_silent", "the floor publishes none of its signals", "floor"),
    CauseKind("string_moves", "the hoist moves the string unasked", "floor"),
    CauseKind("load_overhead_stays", "a load stays above the joint", "floor"),
    # On the bus ------------------------------------------------------------------------------
    CauseKind(
        "party_cut",
        "a party's cable is cut: nothing reaches it, nothing leaves it",
        "bus",
        {},
        ("silent",),
        is_placed=True,
        source=_CHOSEN,
    ),
    CauseKind("loss", "this share of messages is lost", "bus", {"share": _ratio(0.1)}, ("silent",)),
    CauseKind("duplicate", "this share of messages arrives twice", "bus", {"share": _ratio(0.1)}),
    CauseKind(
        "delay",
        "this share of messages is late by up to this time",
        "bus",
        {"share": _ratio(0.1), "time": Quantity("time", 0.5)},
        ("out_of_step", "refused"),
    ),
    CauseKind(
        "reorder", "this share of messages overtakes its elders", "bus", {"share": _ratio(0.1)}
    ),
    # On a process ----------------------------------------------------------------------------
    CauseKind(
        "party_restarts",
        "a party's process dies and starts anew after this time",
        "process",
        {"down": Quantity("time", 2.0)},
        ("silent", "outcome_unknown"),
        is_placed=True,
        source=_CHOSEN,
    ),
)

CATALOGUE: Mapping[str, CauseKind] = MappingProxyType({kind.name: kind for kind in _KINDS})


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
    if causes.acting("signal_silent", now_s) is not None:
        return None
    changed = dict(signals)
    for cause, signal, value in (
        ("person_steps_in", "floor_clear", False),
        ("scanner_silent", "floor_clear", None),
        ("string_moves", "string_still", False),
        ("load_overhead_stays", "nothing_overhead", False),
        ("supply_low", "hydraulics_ready", False),
    ):
        # A supply that is low for one side only does not show at the power unit.
        if signal in changed and causes.acting(cause, now_s) is not None:
            changed[signal] = value
    return changed
