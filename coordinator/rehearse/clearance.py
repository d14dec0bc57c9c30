"""Find how near the arms of a rehearsal came to each other and to what stands around them."""

from math import isfinite

from coordinator.rehearse.rehearsal import Rehearsal
from sim_arms.clearance import Nearest, least_clearance

__all__ = ["Nearest", "nearest"]


def nearest(result: Rehearsal) -> tuple[Nearest, ...]:
    """Return how near the arms came to each other, and to string, table, racks and bins."""
    if result.hoist is None or len(result.arms) != 2:
        return ()
    found = least_clearance(result.arms, result.hoist, result.time_us / 1e6)
    return tuple(one for one in found if isfinite(one.gap_m))
