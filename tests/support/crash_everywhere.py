"""Enumerate the places at which a coordinator can die, and die at each of them once.

The world is not run anew for each crash: at each place the process forks, the child crashes and
goes on to its end, the parent goes on to the next place. Run it as a program of its own:
``python -m tests.support.crash_everywhere SEQUENCE OUT``; OUT takes a line of JSON for each crash.
"""

import argparse
import gc
import json
import os
import sys
import traceback
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from coordinator.sequence import Loaded, load
from tests.support.crash_world import (
    COMMIT_MODES,
    DOWN_US,
    PUBLISH_MODE,
    CrashCell,
    Finding,
    Site,
)

Wanted = Callable[[Site], Sequence[str]]


@dataclass(frozen=True, slots=True)
class Choice:
    """Which sites to die at, and how."""

    every: int = 1
    """Each so-many-th site."""
    leases_every: int = 1
    """Of the sites at which nothing but the lease is renewed."""
    all_modes: bool = True
    """False to take one mode per site, in turn."""
    again_every: int = 0
    """Die once more at each so-many-th site of a recovery; 0 for never."""

    def modes(self, site: Site) -> tuple[str, ...]:
        """Return how to die at a site, nothing to pass it."""
        step = self.leases_every if site.is_lease else self.every
        if site.number % step:
            return ()
        if site.kind == "publish":
            return (PUBLISH_MODE,)
        if self.all_modes:
            return COMMIT_MODES
        return (COMMIT_MODES[site.number // step % len(COMMIT_MODES)],)

    def modes_again(self, site: Site) -> tuple[str, ...]:
        """Return how to die at a site of a recovery."""
        if self.again_every == 0 or site.number % self.again_every:
            return ()
        modes = COMMIT_MODES[: COMMIT_MODES.index("eio")]
        return (PUBLISH_MODE,) if site.kind == "publish" else (modes[site.number % len(modes)],)


class Enumerator:
    """Dies at every site that is chosen, each time in a child of its own."""

    def __init__(self, loaded: Loaded, choice: Choice, out: Path, workers: int = 2) -> None:
        """Prepare; `out` takes one line of JSON for each child."""
        self._choice = choice
        self._out = out
        self._workers = workers
        self._children = 0
        self._label = Finding()
        self.hits = 0
        """Children begun by this process."""
        self.cell = CrashCell(loaded, self._at_site)

    def run(self) -> Finding:
        """Run to the end; only the first process comes back from here."""
        gc.freeze()
        try:
            finding = self.cell.run()
        except Exception:
            if not self._label.sites:
                raise
            finding = Finding(phase="error", wrong=[traceback.format_exc()])
        while self._children:
            self._reap()
        if self._label.sites:
            finding.sites, finding.down_us = self._label.sites, self._label.down_us
            self._note(finding)
            os._exit(0)
        return finding

    def _at_site(self, site: Site) -> str:
        if not self._label.sites:
            modes = self._choice.modes(site)
        elif len(self._label.sites) == 1 and self.cell.is_recovering:
            modes = self._choice.modes_again(site)
        else:
            return ""
        for mode in modes:
            if self._fork():
                self._label.sites.append((site.kind, site.number, mode))
                self._label.down_us = self.cell.down_us = DOWN_US[site.number % len(DOWN_US)]
                self.cell.counts = {"commit": 0, "publish": 0}
                return mode
        return ""

    def _fork(self) -> bool:
        """Fork, once there is room; true in the child."""
        while self._children >= self._workers:
            self._reap()
        self.hits += 1
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

    def _note(self, finding: Finding) -> None:
        line = (json.dumps(asdict(finding)) + "\n").encode()
        descriptor = os.open(self._out, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
        os.write(descriptor, line)
        os.close(descriptor)


def main(arguments: Sequence[str] | None = None) -> None:
    """Enumerate, and print what the first process saw as JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sequence", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--leases-every", type=int, default=1)
    parser.add_argument("--one-mode", action="store_true")
    parser.add_argument("--again-every", type=int, default=0)
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args(arguments)
    choice = Choice(given.every, given.leases_every, not given.one_mode, given.again_every)
    enumerator = Enumerator(load(given.sequence), choice, given.out, given.workers)
    finding = enumerator.run()
    counts = enumerator.cell.counts
    print(json.dumps({**asdict(finding), "hits": enumerator.hits, "counts": counts}))


if __name__ == "__main__":
    main()
