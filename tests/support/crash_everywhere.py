"""Enumerate the places at which a coordinator can die, and die at each of them once.

The world is not run anew for each crash: at each place the process forks, the child crashes and
goes on until nothing is in doubt any more, or to the end; the parent goes on to the next place.
Ways to die that leave the same bytes on the disk and the same messages on the bus are one child.
Run it as a program of its own: ``python -m tests.support.crash_everywhere SEQUENCE OUT``; OUT
takes a line of JSON for each child.
"""

import argparse
import gc
import json
import os
import sys
import traceback
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from coordinator.sequence import Loaded, load
from tests.support.crash_world import (
    COMMIT_MODES,
    LIKE,
    PUBLISH_MODE,
    CrashCell,
    Finding,
    Site,
    down_us_at,
)

FOR_EVER = "full_for_ever"
AGAIN_MODES = ("before", "after", "torn")


@dataclass(frozen=True, slots=True)
class Choice:
    """Which sites to die at, and how."""

    lease_every: int = 1
    """Of the sites at which nothing but the lease is renewed, each so-many-th."""
    lease_modes: int = len(COMMIT_MODES)
    """How many modes to take, in turn, at a commit that does nothing but renew the lease."""
    to_the_end_every: int = 100
    """Of so many crashes one runs on to the end of the sequence; 0 for none."""
    again_every: int = 0
    """At each so-many-th site die again at every place of the recovery; 0 for none."""

    def modes(self, site: Site) -> tuple[str, ...]:
        """Return how to die at a site, nothing to pass it."""
        if site.is_lease and site.number % self.lease_every:
            return ()
        if site.kind == "publish":
            return (PUBLISH_MODE,)
        if not site.is_lease:
            return COMMIT_MODES
        count = len(COMMIT_MODES)
        return tuple(COMMIT_MODES[(site.number + i) % count] for i in range(self.lease_modes))

    def runs_to_the_end(self, site: Site) -> bool:
        """Tell whether a crash at this site is followed to the end."""
        return self.to_the_end_every > 0 and site.number % self.to_the_end_every == 0

    def dies_again(self, first_number: int) -> bool:
        """Tell whether a crash at this site is followed by one in its recovery."""
        return self.again_every > 0 and first_number % self.again_every == 0


class Enumerator:
    """Dies at every site that is chosen, each time in a child of its own."""

    def __init__(self, loaded: Loaded, choice: Choice, out: Path, workers: int = 2) -> None:
        """Prepare; `out` takes one line of JSON for each child."""
        self._choice = choice
        self._workers = workers
        self._children = 0
        self._label = Finding()
        self._alike: list[str] = []
        self._after = 0
        """The last commit at which a child has died just behind it."""
        self._out = os.open(out, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
        self.cell = CrashCell(loaded, self._at_site)

    def run(self) -> Finding:
        """Run to the end; only the first process comes back from here."""
        gc.collect()
        gc.freeze()
        gc.disable()  # Each child would write to all that it shares with us.
        try:
            finding = self.cell.run()
        except Exception:
            if not self._label.sites:
                raise
            finding = Finding(phase="error", wrong=[traceback.format_exc()])
        while self._children:
            self._reap()
        if self._label.sites:
            finding.sites = self._label.sites
            self._note(finding, self._alike)
            os._exit(0)
        return finding

    def _at_site(self, site: Site) -> str:
        crashes = len(self._label.sites)
        if crashes == 0:
            modes = self._choice.modes(site)
        elif crashes == 1 and self.cell.is_recovering:
            if not self._choice.dies_again(self._label.sites[0][1]):
                return ""
            modes = AGAIN_MODES if site.kind == "commit" else (PUBLISH_MODE,)
        else:
            return ""
        is_after = site.is_first and self._after == self.cell.counts["commit"]
        if modes and site.kind == "publish" and is_after:
            like = ("commit", self._after, "after")
            self._note(Finding([*self._label.sites, like]), [PUBLISH_MODE], site)
            return ""
        for mode, alike in _grouped(modes):
            if mode == "after":
                self._after = site.number
            if self._fork():
                self._begin(site, mode, alike)
                return mode
        return ""

    def _begin(self, site: Site, mode: str, alike: list[str]) -> None:
        cell = self.cell
        self._label.sites.append((site.kind, site.number, mode))
        self._alike = alike
        cell.runs_on = len(self._label.sites) == 1 and self._choice.runs_to_the_end(site)
        cell.is_dead_for_ever = mode == FOR_EVER
        cell.down_us = down_us_at(site.number)
        cell.counts = {"commit": 0, "publish": 0}
        self._after = 0

    def _fork(self) -> bool:
        """Fork, once there is room; true in the child."""
        while self._children >= self._workers:
            self._reap()
        sys.stdout.flush()
        if os.fork():
            self._children += 1
            return False
        self._children, self._workers = 0, 1
        return True

    def _reap(self) -> None:
        _, status = os.wait()
        self._children -= 1
        if status:
            raise RuntimeError(f"a child ended with {status}")

    def _note(self, finding: Finding, alike: Sequence[str], site: Site | None = None) -> None:
        """Write what became of a child, and which ways to die at its site it stands for."""
        kind, number, _ = finding.sites[-1]
        if site is not None:
            kind, number = site.kind, site.number
        hits = [(kind, number, mode) for mode in alike]
        before = finding.sites[:-1]
        line = json.dumps({**asdict(finding), "hits": hits, "before": before}) + "\n"
        os.write(self._out, line.encode())


def _grouped(modes: Sequence[str]) -> Iterator[tuple[str, list[str]]]:
    """Yield each mode that needs a child, and all those that this child stands for."""
    groups: dict[str, list[str]] = {}
    for mode in modes:
        groups.setdefault(LIKE.get(mode, mode), []).append(mode)
    for alike in groups.values():
        # The child dies in the last way: of two, the torn write has bytes to be looked at.
        yield alike[-1], alike


def main(arguments: Sequence[str] | None = None) -> None:
    """Enumerate, and print what the first process saw as JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sequence", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--lease-every", type=int, default=1)
    parser.add_argument("--lease-modes", type=int, default=len(COMMIT_MODES))
    parser.add_argument("--to-the-end-every", type=int, default=100)
    parser.add_argument("--again-every", type=int, default=0)
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args(arguments)
    choice = Choice(given.lease_every, given.lease_modes, given.to_the_end_every, given.again_every)
    enumerator = Enumerator(load(given.sequence), choice, given.out, given.workers)
    finding = enumerator.run()
    print(json.dumps({**asdict(finding), "counts": enumerator.cell.counts}))


if __name__ == "__main__":
    main()
