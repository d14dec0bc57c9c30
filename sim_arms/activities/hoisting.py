"""What the hoist does under its operator: bring, stab, land, take, set down and lift a length.

Units: SI.
Invariants: F4, the string counts as moving from before it moves until after it rests, also in a
hold.
"""

import math

from sim_arms.activities.bench import BRAKE_S, HoistBench, Steps
from sim_arms.activity import Activity, Done, HoldAsked, Wait

SET_DOWN_SHIFT_M = 12.0e-3  # Common practice, no source: about half an inch.
SET_DOWN_TURN_RAD = math.radians(2.0)  # Common practice, no source.
PINNED_SHIFT_M = 0.3e-3  # Play of the guide pins; chosen.
LOWEST_FIRST = ("landed", "held_by_hoist", "on_pins", "near", "hanging", "")
"""Where the string can be, by the height of its lower end; nowhere counts as highest."""
LOOSE_SHIFT_M = 8.0e-3  # A length stabbed without two pins; chosen.


def _move(bench: HoistBench, duration_s: float, to: str, *, overhead_during: bool) -> Steps:
    """Move the string for a time."""
    bench.signals["string_still"] = False
    before = bench.steel.word("string")
    # While it moves it counts as where it will be at the lowest.
    bench.string_low.append((bench.now_s(), min(before, to, key=LOWEST_FIRST.index)))
    if overhead_during:
        bench.signals["nothing_overhead"] = False
    try:
        yield Wait(duration_s)
    except HoldAsked:
        yield Wait(BRAKE_S)
        raise
    finally:
        bench.signals["string_still"] = True
    bench.string_low.append((bench.now_s(), to))
    bench.steel.write("string", to)


def bring_length(bench: HoistBench) -> Activity:
    """Swing the next length over the joint."""
    yield from _move(bench, 20.0, "near", overhead_during=True)
    return Done()


def stab_length(bench: HoistBench) -> Activity:
    """Lower the length over the guide pins; without two of them it does not come down true."""
    yield from _move(bench, 60.0, "on_pins", overhead_during=True)
    holes = range(1, bench.steel.config.bolt_count + 1)
    pinned = sum(bench.steel.flag(f"pin.{hole}") for hole in holes) >= 2
    _shift(bench, PINNED_SHIFT_M if pinned else LOOSE_SHIFT_M, 0.0)
    return Done()


def land_length(bench: HoistBench) -> Activity:
    """Lower the length until it rests on the joint."""
    yield from _move(bench, 30.0, "landed", overhead_during=True)
    bench.signals["nothing_overhead"] = True
    return Done()


def take_string(bench: HoistBench) -> Activity:
    """Take the weight of the joined string."""
    yield from _move(bench, 12.0, "held_by_hoist", overhead_during=False)
    return Done()


def set_down_string(bench: HoistBench) -> Activity:
    """Set the string down in the hang-off table; the joint comes to stand a little elsewhere."""
    yield from _move(bench, 30.0, "landed", overhead_during=False)
    _shift(bench, SET_DOWN_SHIFT_M, SET_DOWN_TURN_RAD)
    return Done()


def lift_length(bench: HoistBench) -> Activity:
    """Lift the freed length off and swing it away."""
    yield from _move(bench, 30.0, "hanging", overhead_during=True)
    bench.signals["nothing_overhead"] = True
    return Done()


def _shift(bench: HoistBench, size_m: float, turn_rad: float) -> None:
    """Let the joint come to stand about this far off, in any direction."""
    rng = bench.rng
    direction = rng.uniform(0.0, 2.0 * math.pi)
    far_m = size_m * rng.uniform(0.8, 1.2)
    bench.steel.write("joint.shift_x_m", far_m * math.cos(direction))
    bench.steel.write("joint.shift_y_m", far_m * math.sin(direction))
    bench.steel.write("joint.turn_rad", turn_rad * rng.choice((-1.0, 1.0)) * rng.uniform(0.8, 1.2))
