"""Tell the time of a cell: the wall clock, or one that runs faster from a given moment on.

Units: ``*_us`` whole microseconds since the Unix epoch.
"""

import time
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CellClock:
    """A clock that every process of a simulated cell keeps alike, without talking.

    Args:
        base_us: Moment at which it agrees with the wall.
        speed: How much faster than the wall it runs; 1 for the wall itself.
    """

    base_us: int = 0
    speed: float = 1.0

    def __call__(self) -> int:
        """Return the cell's time now."""
        wall_us = time.time_ns() // 1_000
        if self.speed == 1.0:
            return wall_us
        return self.base_us + int((wall_us - self.base_us) * self.speed)
