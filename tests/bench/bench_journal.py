"""Measure the journal: an append beside a bare fsync, and how long ten thousand events take up.

Run with ``python -m tests.bench.bench_journal``; prints ratios and asserts no time.
"""

import os
import statistics
import tempfile
import time
from pathlib import Path

from coordinator.core.events import Event
from coordinator.core.state import State
from coordinator.live.coordinator import Coordinator, Observers
from coordinator.live.operator import OperatedCoordinator, OperatorScript
from coordinator.records.journal import Head, Journal
from coordinator.records.replaying import Replaying, replay
from coordinator.rehearse.simulated import Simulation
from coordinator.sequence import load
from sim_arms.network import Network
from sim_arms.world import World
from tests.bench.results import Results
from tests.support.house import ROOT

APPENDS = 400
EVENTS = 10_000
SEQUENCE = ROOT / "sequences" / "makeup_16.yaml"


class Kept:
    """Keeps what a dry run would write to its journal."""

    def __init__(self) -> None:
        self.commits: list[tuple[list[Event], State]] = []
        self._pending: list[Event] = []

    def append(self, event: Event) -> None:
        """Keep an event."""
        self._pending.append(event)

    def commit(self, state: State) -> None:
        """Keep a commit."""
        self.commits.append((self._pending, state))
        self._pending = []


def main() -> None:
    """Measure and print."""
    told = Results.begin("journal")
    loaded, kept = load(SEQUENCE), Kept()
    coordinator = Coordinator(loaded.plan, observers=Observers(kept))
    simulation = Simulation(loaded, 1)
    operated = OperatedCoordinator(coordinator, OperatorScript(loaded.plan))
    parties = [simulation.party(name) for name in simulation.names]
    events = 0
    world = World(parties, operated, Network(1))
    world.run(lambda: coordinator.state.phase == "complete", 36_000_000_000)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _tell_appends(told, folder, kept)
        journal = Journal.create(folder / "journal.log", Head("bench", loaded.plan.digest))
        for pending, state in kept.commits:
            if events >= EVENTS:
                break
            for event in pending:
                journal.append(event)
            journal.commit(state)
            events += len(pending)
        journal.close()
        start_s = time.perf_counter()
        taken = Journal.take_up(folder / "journal.log")
        read_s = time.perf_counter() - start_s
        replayed = replay(loaded.plan, taken)
        whole_s = time.perf_counter() - start_s
        decided = list(taken.read_events())
        start_s = time.perf_counter()
        bare = Replaying(loaded.plan)
        for event in decided:
            bare.take(event)
        bare_s = time.perf_counter() - start_s
        taken.close()
    print(f"{replayed.events} events")
    told.add("taken up", whole_s * 1e3, "ms")
    told.add("of that, every byte verified", read_s * 1e3, "ms")
    told.add("deciding them alone", bare_s * 1e3, "ms")
    told.add("taking up to deciding", whole_s / bare_s, "times")
    told.write()


def _tell_appends(told: Results, folder: Path, kept: Kept) -> None:
    """Append real events, and write and sync as many bytes to a plain file."""
    journal = Journal.create(folder / "appends.log", Head("bench", ""))
    plain = os.open(folder / "plain", os.O_RDWR | os.O_CREAT, 0o600)
    os.posix_fallocate(plain, 0, 1 << 22)
    ours_s, bare_s, place = [], [], 0
    for pending, state in kept.commits[:APPENDS]:
        before = journal.written
        start_s = time.perf_counter()
        for event in pending:
            journal.append(event)
        journal.commit(state)
        ours_s.append(time.perf_counter() - start_s)
        content = b"x" * (journal.written - before)
        start_s = time.perf_counter()
        os.pwrite(plain, content, place)
        os.fdatasync(plain)
        bare_s.append(time.perf_counter() - start_s)
        place += len(content)
    journal.close()
    os.close(plain)
    ours, bare = statistics.median(ours_s), statistics.median(bare_s)
    print(f"{APPENDS} commits of a make-up, medians")
    told.add("append and commit", ours * 1e3, "ms")
    told.add("as many bytes and one fsync", bare * 1e3, "ms")
    told.add("append to bare fsync", ours / bare, "times")


if __name__ == "__main__":
    main()
