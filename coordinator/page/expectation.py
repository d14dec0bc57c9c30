"""Tell how long a run still takes, by when a rehearsal of the same plan was as far.

Units: ``*_us`` microseconds; snapshots in seconds.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from coordinator.page.board import Snapshot


@dataclass(frozen=True, slots=True)
class Expectation:
    """When each node was done in the rehearsal, and when all was."""

    done_us: Mapping[int, int]
    end_us: int

    def to_go(self, snapshot: Snapshot) -> dict[str, Any] | None:
        """Return the time to go and the side that is furthest behind; None without an arm."""
        behind = [
            (self.end_us - self.done_us.get(lane["last_done"], 0), lane["name"])
            for lane in snapshot["lanes"]
            if lane["is_arm"]
        ]
        if not behind or snapshot["phase"] in ("complete", "stopped", "aborted"):
            return None
        left_us, side = max(behind)
        return {"left_s": round(max(left_us, 0) / 1e6), "side": side}
