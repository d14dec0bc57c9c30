"""Read from the samples of a trace how steeply the torque rose, and how often it was confirmed.

Units: torque newton metre, angle radian, slope newton metre per radian.
"""

from collections.abc import Sequence
from itertools import pairwise

RISE = (0.5, 0.97)
"""Chosen: shares of the largest torque between which the bolt stretches and nothing settles yet."""
FALLEN = 0.5
"""Chosen: below this share of the target a tool has let go, so that the next rise is another."""


def slope_nm_per_rad(torque_nm: Sequence[float], angle_rad: Sequence[float]) -> float | None:
    """Return the slope of the last rise to the largest torque, by least squares.

    Returns:
        None when the samples show no rise: columns missing, or fewer than two turning samples.
    """
    if len(torque_nm) != len(angle_rad) or len(torque_nm) < 2:
        return None
    low, high = (share * max(torque_nm) for share in RISE)
    points = [
        (after_rad, after_nm)
        for (before_nm, before_rad), (after_nm, after_rad) in pairwise(
            zip(torque_nm, angle_rad, strict=True)
        )
        if low <= after_nm <= high and after_nm > before_nm and after_rad > before_rad
    ]
    return _least_squares(points)


def _least_squares(points: Sequence[tuple[float, float]]) -> float | None:
    if len(points) < 2:
        return None
    mean_x = sum(x for x, _ in points) / len(points)
    mean_y = sum(y for _, y in points) / len(points)
    spread = sum((x - mean_x) ** 2 for x, _ in points)
    if spread == 0.0:
        return None
    return sum((x - mean_x) * (y - mean_y) for x, y in points) / spread


def count_confirmations(torque_nm: Sequence[float], target_nm: float, tolerance: float) -> int:
    """Return how often the torque came to its target, each time after having fallen."""
    count, has_fallen = 0, True
    for value_nm in torque_nm:
        if has_fallen and value_nm >= target_nm * (1.0 - tolerance):
            count, has_fallen = count + 1, False
        elif value_nm < FALLEN * target_nm:
            has_fallen = True
    return count
