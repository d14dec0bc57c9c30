"""Keep what the page was sent, so that people can look back over a run that still goes on.

Units: ``*_s`` seconds since the run began.
Invariants: PG14, looking back shows a snapshot as it was sent, never one made anew.
"""

import json
import zlib
from bisect import bisect_right

from coordinator.page.board import Snapshot

APART_S = 1.0
"""Chosen: finer than a person can point at on a strip of half an hour."""
MOMENTS_MAX = 20_000
"""Chosen: some 40 MB; beyond it every other moment goes."""


class History:
    """Moments of one run, in order."""

    def __init__(self) -> None:
        self._at_s: list[float] = []
        self._kept: list[bytes] = []
        self._situation: tuple[object, ...] = ()

    def keep(self, snapshot: Snapshot) -> None:
        """Keep a snapshot if the last one is old enough, or the situation has changed."""
        situation = snapshot["phase"], len(snapshot["prompts"]), len(snapshot["alarms"])
        at_s = float(snapshot["at_s"])
        if self._at_s and at_s < self._at_s[-1]:
            return
        is_due = not self._at_s or at_s - self._at_s[-1] >= APART_S
        if not is_due and situation == self._situation:
            return
        self._situation = situation
        if len(self._kept) >= MOMENTS_MAX:
            del self._at_s[::2], self._kept[::2]
        # The strip goes without saying: whoever looks back has the newest one on the screen.
        kept = {name: value for name, value in snapshot.items() if name not in ("strip", "ahead")}
        self._at_s.append(at_s)
        self._kept.append(zlib.compress(json.dumps(kept).encode(), 1))

    def at(self, at_s: float) -> Snapshot | None:
        """Return the last moment up to a time, the first where it is earlier, None without any."""
        if not self._kept:
            return None
        index = max(bisect_right(self._at_s, at_s) - 1, 0)
        moment: Snapshot = json.loads(zlib.decompress(self._kept[index]))
        return moment
