"""Take up an action by its name: judge whether it is fit before anything moves, then begin it.

Units: SI, as on the wire.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from coordinator.wire.messages import Value
from sim_arms.activities import handling, hoisting, loosening, spinning, wrenching
from sim_arms.activities.bench import Bench, Course, HoistBench, Unfit
from sim_arms.activity import Activity
from sim_arms.physics.arm_chain import OutOfReachError

Kind = Literal["tool", "bolt", "hole", "number", "angle", "torque"]
TOOLS = ("gripper", "spinner", "wrench")

Ready = Callable[[Bench, Mapping[str, Value]], str]
"""Returns why an action cannot be taken up, empty when it can."""


def _at_ease(bench: Bench, takes: Mapping[str, Value]) -> str:
    return ""


def _hands_free(bench: Bench, takes: Mapping[str, Value]) -> str:
    return f"bolt {bench.holding} is in the fork" if bench.holding else ""


def _off_the_hex(bench: Bench, takes: Mapping[str, Value]) -> str:
    return f"the wrench sits on bolt {bench.seated_on}" if bench.seated_on else ""


def _fork_free(bench: Bench, takes: Mapping[str, Value]) -> str:
    if bench.holding not in (0, takes["bolt"]):
        return f"bolt {bench.holding} is in the fork"
    return _own_bolt(bench, takes)


def _own_bolt(bench: Bench, takes: Mapping[str, Value]) -> str:
    bolt = int(takes["bolt"])
    server = bench.steel.config.side_of_bolt[bolt - 1]
    return "" if server == bench.side else f"bolt {bolt} is served by {server}"


def _to_be_placed(bench: Bench, takes: Mapping[str, Value]) -> str:
    bolt = int(takes["bolt"])
    if bench.holding != bolt and bench.steel.where(bolt) != "hole":
        return f"bolt {bolt} is not in the fork"
    return _fork_free(bench, takes)


def _in_hole(bench: Bench, takes: Mapping[str, Value]) -> str:
    bolt = int(takes["bolt"])
    if bench.steel.where(bolt) != "hole":
        return f"bolt {bolt} is not in its hole"
    return _fork_free(bench, takes)


def _to_be_stowed(bench: Bench, takes: Mapping[str, Value]) -> str:
    bolt = int(takes["bolt"])
    if bench.holding != bolt:
        return f"bolt {bolt} is not in the fork"
    turned_in = bench.steel.number(f"bolt.{bolt}.turns") > 0.0
    return f"bolt {bolt} is still in its thread" if turned_in else ""


def _to_be_seated(bench: Bench, takes: Mapping[str, Value]) -> str:
    if bench.seated_on not in (0, takes["bolt"]):
        return _off_the_hex(bench, takes)
    return _own_bolt(bench, takes)


def _to_react(bench: Bench, takes: Mapping[str, Value]) -> str:
    bolt, other = int(takes["bolt"]), int(takes["on"])
    count = bench.steel.config.bolt_count
    if (bolt - other) % count not in (1, count - 1):
        return f"bolt {other} is no neighbour of bolt {bolt}"
    return "" if bench.seated_on == bolt else f"the wrench does not sit on bolt {bolt}"


def _may_pull(bench: Bench, takes: Mapping[str, Value], *, over: bool) -> str:
    torque = float(takes.get("torque", takes.get("torque_max", 0.0)))
    if torque > bench.wrench.rated_nm:
        return f"torque is {torque:.0f} N.m, above the wrench's {bench.wrench.rated_nm:.0f}"
    if bench.seated_on != takes["bolt"]:
        return f"the wrench does not sit on bolt {takes['bolt']}"
    if bench.turned_over != over:
        return "the wrench is turned the wrong way"
    return ""


def _may_tighten(bench: Bench, takes: Mapping[str, Value]) -> str:
    return _may_pull(bench, takes, over=False)


def _may_loosen(bench: Bench, takes: Mapping[str, Value]) -> str:
    return _may_pull(bench, takes, over=True)


@dataclass(frozen=True, slots=True)
class Visit:
    """A place that an arm goes to."""

    place: str
    """One of the layout; `bolt` is that of the bolt or hole that the action takes."""
    puts_down: bool = False
    """The tool goes down on its slide there."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One action: what runs, what it takes, which tool it needs, when it may be taken up."""

    run: Callable[..., Activity]
    takes: tuple[tuple[str, Kind], ...] = ()
    needs: str = ""
    ready: Ready = _at_ease
    courses: tuple[tuple[Visit, ...], ...] = ((),)
    """Where the arm goes, in order, in each way that the action may take; so what it can sweep is
    known beforehand."""
    draws_up: bool = False
    """It draws the tool up where it stands, before it goes anywhere."""


_BOLT: tuple[tuple[str, Kind], ...] = (("bolt", "bolt"),)
_PIN: tuple[tuple[str, Kind], ...] = (("hole", "hole"), ("turns", "number"))
_TORQUE: tuple[tuple[str, Kind], ...] = (*_BOLT, ("torque", "torque"))
_STAYS: tuple[Visit, ...] = ()
_PARK, _RACK, _BIN, _BORE, _JOINT, _OVER = (
    (Visit(place),) for place in ("park", "rack", "bin", "bore", "joint", "bolt")
)
_DOWN_ON, _DOWN_INTO_BIN = ((Visit(place, puts_down=True),) for place in ("bolt", "bin"))

ACTIONS: Mapping[str, Entry] = {
    "park": Entry(handling.park, ready=_off_the_hex, courses=(_PARK,)),
    "change_tool": Entry(
        handling.change_tool, (("tool", "tool"),), ready=_hands_free, courses=(_RACK, _STAYS)
    ),
    "fit_cover": Entry(
        handling.fit_cover, needs="gripper", courses=(_RACK + _BORE + _JOINT, _JOINT)
    ),
    "take_cover": Entry(
        handling.take_cover, needs="gripper", courses=(_BORE + _RACK + _PARK, _PARK)
    ),
    "fit_pin": Entry(handling.fit_pin, _PIN, "gripper", courses=(_RACK + _DOWN_ON, _STAYS)),
    "take_pin": Entry(handling.take_pin, _PIN, "gripper", courses=(_DOWN_ON + _RACK, _STAYS)),
    "locate_joint": Entry(handling.locate_joint, ready=_off_the_hex, courses=(_JOINT,)),
    "locate_hole": Entry(handling.locate_hole, _BOLT, ready=_off_the_hex, courses=(_OVER,)),
    "locate_bolt": Entry(handling.locate_bolt, _BOLT, ready=_off_the_hex, courses=(_BIN, _OVER)),
    "turn_socket": Entry(handling.turn_socket, _BOLT, "spinner"),
    "pick_bolt": Entry(spinning.pick_bolt, _BOLT, "spinner", _fork_free, (_DOWN_INTO_BIN, _STAYS)),
    "place_bolt": Entry(spinning.place_bolt, _BOLT, "spinner", _to_be_placed, (_DOWN_ON,)),
    "run_up": Entry(spinning.run_up, _BOLT, "spinner", _in_hole),
    "let_go": Entry(spinning.let_go, _BOLT, "spinner", draws_up=True),
    "lift": Entry(handling.lift, draws_up=True),
    "index_socket": Entry(handling.index_socket, (("by", "angle"),), ready=_off_the_hex),
    "back_off": Entry(spinning.back_off, (*_BOLT, ("turns", "number")), "spinner", _in_hole),
    "seat_wrench": Entry(wrenching.seat_wrench, _BOLT, "wrench", _to_be_seated, (_DOWN_ON,)),
    "react": Entry(wrenching.react, (*_BOLT, ("on", "bolt")), "wrench", _to_react),
    "pull": Entry(wrenching.pull, _TORQUE, "wrench", _may_tighten),
    "confirm_torque": Entry(wrenching.confirm_torque, _TORQUE, "wrench", _may_tighten),
    "check_torque": Entry(
        wrenching.check_torque, (*_TORQUE, ("angle_max", "angle")), "wrench", _may_tighten
    ),
    "lift_wrench": Entry(wrenching.lift_wrench, _BOLT, "wrench", draws_up=True),
    "turn_wrench_over": Entry(wrenching.turn_wrench_over, (), "wrench", _off_the_hex),
    "break_loose": Entry(
        loosening.break_loose, (*_BOLT, ("torque_max", "torque")), "wrench", _may_loosen
    ),
    "back_out": Entry(spinning.back_out, _BOLT, "spinner", _in_hole, (_DOWN_ON,)),
    "stow_bolt": Entry(
        spinning.stow_bolt, _BOLT, "spinner", _to_be_stowed, (_DOWN_INTO_BIN,), draws_up=True
    ),
}
"""What an arm can do."""

HOIST_ACTIONS: Mapping[str, Callable[[HoistBench], Activity]] = {
    "bring_length": hoisting.bring_length,
    "stab_length": hoisting.stab_length,
    "land_length": hoisting.land_length,
    "take_string": hoisting.take_string,
    "set_down_string": hoisting.set_down_string,
    "lift_length": hoisting.lift_length,
}
"""What the hoist can do."""


def begin(
    action: str, parameters: Mapping[str, Value], bench: Bench | HoistBench, on_hold: str
) -> Activity:
    """Return the activity of an action; nothing has moved yet.

    Args:
        action: Its name in the cell file.
        parameters: What it takes, in SI units.
        bench: The arm's bench, or the hoist's.
        on_hold: stop, finish or relieve.

    Raises:
        Unfit: The action is unknown here, a parameter is missing, unknown or out of range, or
            the arm is not in a state to take it up.
    """
    if on_hold not in ("stop", "finish", "relieve", "retract"):
        raise Unfit(f"on_hold is '{on_hold}', must be stop, finish or relieve")
    if isinstance(bench, HoistBench):
        return _begin_hoist(action, parameters, bench)
    entry = ACTIONS.get(action)
    if entry is None:
        raise Unfit(f"action '{action}' is unknown to an arm")
    takes = _read(entry, parameters, bench.steel.config.bolt_count)
    if entry.needs and bench.tool != entry.needs:
        raise Unfit(f"{action} needs the {entry.needs}, the arm holds '{bench.tool}'")
    reason = entry.ready(bench, takes) or _out_of_reach(entry, takes, bench)
    if reason:
        raise Unfit(f"{action}: {reason}")
    return entry.run(Course(bench, on_hold), **takes)


def _out_of_reach(entry: Entry, takes: Mapping[str, Value], bench: Bench) -> str:
    """Say why the arm cannot come to a bolt or hole that an action names."""
    for name, kind in entry.takes:
        if kind in ("bolt", "hole") and name != "on":
            try:
                bench.steel.chains[bench.side].angles(
                    bench.steel.layout.point(bench.side, f"bolt.{takes[name]}")
                )
            except OutOfReachError as error:
                return f"{name} {takes[name]} is out of reach: {error}"
    return ""


def _begin_hoist(action: str, parameters: Mapping[str, Value], bench: HoistBench) -> Activity:
    run = HOIST_ACTIONS.get(action)
    if run is None:
        raise Unfit(f"action '{action}' is unknown to the hoist")
    if parameters:
        raise Unfit(f"{action} takes no parameters")
    return run(bench)


# Any: the values go to functions whose parameters are declared beside them in ACTIONS.
def _read(entry: Entry, parameters: Mapping[str, Value], bolt_count: int) -> dict[str, Any]:
    """Return the parameters in the types of the action."""
    known = {name for name, _ in entry.takes}
    for name in parameters:
        if name not in known:
            raise Unfit(f"parameter '{name}' is unknown")
    takes: dict[str, Any] = {}
    for name, kind in entry.takes:
        if name not in parameters:
            raise Unfit(f"parameter '{name}' is missing")
        takes[name] = _value(name, kind, parameters[name], bolt_count)
    return takes


def _value(name: str, kind: Kind, value: Value, bolt_count: int) -> Value:
    if kind == "tool":
        if value not in TOOLS:
            raise Unfit(f"{name} is '{value}', must be one of {', '.join(TOOLS)}")
        return value
    if isinstance(value, bool | str) or not math.isfinite(value):
        raise Unfit(f"{name} is '{value}', must be a number")
    if kind in ("bolt", "hole"):
        if value != int(value) or not 1 <= value <= bolt_count:
            raise Unfit(f"{name} is {value}, must be a bolt from 1 to {bolt_count}")
        return int(value)
    if kind == "torque" and value <= 0.0:
        raise Unfit(f"{name} is {value}, must be above zero")
    if kind == "number" and value < 0.0:
        raise Unfit(f"{name} is {value}, must not be below zero")
    return float(value)
