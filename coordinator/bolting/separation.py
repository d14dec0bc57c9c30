"""Decide how far a detection field must stand from a moving arm, for planning a cell.

This is arithmetic for a layout. It replaces neither a risk assessment nor a measured stopping
time, and nothing of ours is a protective device.

Units: s, m.
Invariants: BT11, the distance never falls when the stopping time or the detection capability grows.
"""

from coordinator.bolting.constants import MILLIMETRE_M
from coordinator.bolting.errors import BoltingError, require_above_zero

HAND_SPEED_M_S = 2.0
"""Approach speed of a hand at short distances. ISO 13855:2010, 6.2.3.1."""

WALKING_SPEED_M_S = 1.6
"""Approach speed of a walking person. ISO 13855:2010, 6.2.3.1."""

_DISTANCE_M_MIN = 0.100
_HAND_DISTANCE_M_MAX = 0.500
_RESOLUTION_FREE_M = 14.0 * MILLIMETRE_M
_RESOLUTION_FINE_M_MAX = 40.0 * MILLIMETRE_M
_RESOLUTION_M_MAX = 70.0 * MILLIMETRE_M
_INTRUSION_PER_RESOLUTION = 8.0
_INTRUSION_COARSE_M = 0.850
# ISO 13855:2010, 6.2.3: C = 8 (d - 14 mm), not below 0, up to 40 mm; 850 mm up to 70 mm.


def approach_distance_m(speed_m_s: float, stopping_time_s: float, intrusion_m: float) -> float:
    """Return S = K T + C, the general equation.

    Source:
        ISO 13855:2010, eq. 1.
    """
    require_above_zero("speed_m_s", speed_m_s)
    require_above_zero("stopping_time_s", stopping_time_s)
    return speed_m_s * stopping_time_s + intrusion_m


def intrusion_m(resolution_m: float) -> float:
    """Return how far a body part may reach in before a field of that resolution sees it.

    Raises:
        BoltingError: BLT015, the resolution is coarser than 70 mm.
    """
    require_above_zero("resolution_m", resolution_m)
    if resolution_m <= _RESOLUTION_FINE_M_MAX:
        return max(0.0, _INTRUSION_PER_RESOLUTION * (resolution_m - _RESOLUTION_FREE_M))
    if resolution_m <= _RESOLUTION_M_MAX:
        return _INTRUSION_COARSE_M
    raise BoltingError(
        f"resolution is {resolution_m / MILLIMETRE_M:g} mm, must be at most "
        f"{_RESOLUTION_M_MAX / MILLIMETRE_M:g} mm; use the rule for single beams",
        "BLT015",
    )


def field_distance_m(stopping_time_s: float, resolution_m: float) -> float:
    """Return the least distance of a field that people approach at right angles.

    S = 2000 T + 8 (d - 14) mm, at least 100 mm; where that exceeds 500 mm, S = 1600 T + 8 (d - 14)
    mm, at least 500 mm. Above 40 mm resolution, S = 1600 T + 850 mm.

    Args:
        stopping_time_s: Time from a person's touch on the field to standstill, in all.
        resolution_m: Detection capability d of the field.

    Raises:
        BoltingError: BLT005, not above zero; BLT015, the resolution is coarser than 70 mm.

    Source:
        ISO 13855:2010, 6.2.3.1, eq. 2 to 4.
    """
    reach_m = intrusion_m(resolution_m)
    walking_m = approach_distance_m(WALKING_SPEED_M_S, stopping_time_s, reach_m)
    if resolution_m > _RESOLUTION_FINE_M_MAX:
        return walking_m
    hand_m = approach_distance_m(HAND_SPEED_M_S, stopping_time_s, reach_m)
    if hand_m <= _HAND_DISTANCE_M_MAX:
        return max(_DISTANCE_M_MIN, hand_m)
    return max(_HAND_DISTANCE_M_MAX, walking_m)
