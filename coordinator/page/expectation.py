"""Tell how long a run still takes, by when a rehearsal of the same plan was as far.

Units: ``*_us`` microseconds; snapshots in seconds.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from coordinator.page.board import Snapshot


@dataclass(frozen=True, slots=True)
class Expectation:
    """When each node was done in the rehearsal, and when all was."""

    done_us: Mapping[int, int]
    end_us: int
    strip: Mapping[str, Any] = field(default_factory=dict)
    """Of the rehearsal."""

    def ahead(self, snapshot: Snapshot) -> dict[str, Any] | None:
        """Return the part of the rehearsal's strip that lies ahead, moved to where the run is."""
        to_go = self.to_go(snapshot)
        if to_go is None or not self.strip:
            return None
        now_s = snapshot["at_s"]
        late_s = now_s + to_go["left_s"] - self.end_us / 1e6
        moved = (
            {**one, "begin_s": one["begin_s"] + late_s, "end_s": one["end_s"] + late_s}
            for one in self.strip["segments"]
        )
        barriers = ({**one, "at_s": one["at_s"] + late_s} for one in self.strip["barriers"])
        return {
            "lanes": self.strip["lanes"],
            "segments": [one for one in moved if one["end_s"] > now_s],
            "barriers": [one for one in barriers if one["at_s"] > now_s],
            "marks": [],
        }

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
