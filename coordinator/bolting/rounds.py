"""Decide the order in which the bolts of a joint are tightened, and to what share in each round.

Units: shares are fractions of the target torque. Bolts are numbered 1 to N clockwise, so the bolt
opposite to b is b + N/2.
Invariants: BT5, every order names every bolt once, and two tools always stand on opposite bolts.
"""

from collections.abc import Mapping
from types import MappingProxyType

from coordinator.bolting.errors import BoltingError

BOLT_COUNT_MIN = 4
BOLT_COUNT_MAX = 32

_QUARTER_LEADS: Mapping[int, tuple[int, ...]] = MappingProxyType(
    {
        4: (1,),
        8: (1, 2),
        12: (1, 2, 3),
        16: (1, 3, 2, 4),
        20: (1, 3, 5, 2, 4),
        24: (1, 4, 2, 5, 3, 6),
        28: (1, 4, 6, 2, 5, 7, 3),
        32: (1, 5, 3, 7, 2, 6, 8, 4),
    }
)
# First bolts of the groups of four; ASME PCC-1, legacy cross pattern (20 and above from memory).


def cross_order(bolt_count: int) -> tuple[int, ...]:
    """Return the order for one tool: opposite bolt next, then a quarter turn on, then between.

    Raises:
        BoltingError: BLT007, the count is odd or outside 4 to 32.

    Source:
        ASME PCC-1, legacy pattern, for multiples of four; for 6, 10, 14 ... bolts, which have no
        bolt a quarter turn away, opposite pairs spread by `_spread_axes` (our rule).
    """
    return tuple(bolt for pair in two_tool_order(bolt_count) for bolt in pair)


def two_tool_order(bolt_count: int) -> tuple[tuple[int, int], ...]:
    """Return the pairs for two tools: opposite bolts at once, a quarter turn on, then between.

    Raises:
        BoltingError: BLT007, the count is odd or outside 4 to 32.

    Source:
        MIL-HDBK-60, 5.7 and Fig. 4 (drawn for 16 bolts); the order of the pairs is that of
        ASME PCC-1, legacy pattern.
    """
    _require_count(bolt_count)
    half = bolt_count // 2
    leads = _QUARTER_LEADS.get(bolt_count)
    if leads is None:
        first = tuple(axis + 1 for axis in _spread_axes(half))
    else:
        first = tuple(bolt for lead in leads for bolt in (lead, lead + half // 2))
    return tuple((bolt, bolt + half) for bolt in first)


def circular_order(bolt_count: int) -> tuple[int, ...]:
    """Return 1 to N, clockwise, for the last rounds."""
    _require_count(bolt_count)
    return tuple(range(1, bolt_count + 1))


def _spread_axes(half: int) -> tuple[int, ...]:
    """Order the axes 0 to half - 1 so that each is far from those before it.

    Axes repeat after half a turn, so distances are reckoned around a circle of `half` places.
    The next axis is the one whose nearest done neighbour is farthest; among equals, the one
    farthest from the axis done last, which is the nearest to a quarter turn; then the lowest.
    """
    done = [0]
    while len(done) < half:
        rest = (axis for axis in range(half) if axis not in done)
        done.append(max(rest, key=lambda axis: (_clearance(axis, done, half), -axis)))
    return tuple(done)


def _clearance(axis: int, done: list[int], half: int) -> tuple[int, int]:
    """Return the distance to the nearest done axis, then to the one done last."""
    gaps = [min((axis - other) % half, (other - axis) % half) for other in done]
    return min(gaps), gaps[-1]


def _require_count(bolt_count: int) -> None:
    if bolt_count % 2 or not BOLT_COUNT_MIN <= bolt_count <= BOLT_COUNT_MAX:
        raise BoltingError(
            f"bolt count is {bolt_count}, must be even and from {BOLT_COUNT_MIN} to "
            f"{BOLT_COUNT_MAX}; correct the joint",
            "BLT007",
        )
