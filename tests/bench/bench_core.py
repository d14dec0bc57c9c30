"""Measure events per second of the core, beside a bare state machine and a bare simulator.

Run with ``python -m tests.bench.bench_core``; prints ratios and asserts no time. Compared with
another commit (``tests.bench.compare``), both decide the events that the newer one recorded.
"""

import os
import pickle
import time
from collections.abc import Callable, Generator
from pathlib import Path
from typing import Any

import simpy
from transitions import Machine

from coordinator.core import begin, decide
from coordinator.core.effects import Effect
from coordinator.core.events import Event
from coordinator.core.state import State
from coordinator.lifecycles import PROCEDURE
from coordinator.sequence import Loaded, load
from tests.bench.results import Results
from tests.support.house import ROOT

ROUNDS = 5
"""Chosen: the best of five is little disturbed by whatever else the machine does."""
RING = ("pause", "pause_done", "resume", "hold", "hold_done", "restart", "restart_done")


def events_of(loaded: Loaded) -> list[Event]:
    """Return what happens in a dry run without causes."""
    # Imported here: another commit may keep it elsewhere, and only decides what was recorded.
    from coordinator.rehearse.rehearsal import rehearse

    events: list[Event] = []

    def listen(event: Event, effects: tuple[Effect, ...], state: State) -> None:
        events.append(event)

    rehearse(loaded, listeners=(listen,))
    return events


def recorded(loaded: Loaded) -> list[Event]:
    """Return the events that two compared commits share, or those of a dry run of our own."""
    folder = os.environ.get("BENCH_FOLDER")
    if folder is None:
        return events_of(loaded)
    path = Path(folder) / "events.pickle"
    if not path.exists():
        path.write_bytes(pickle.dumps(events_of(loaded)))
    events: list[Event] = pickle.loads(path.read_bytes())
    return events


def replay(loaded: Loaded, events: list[Event]) -> None:
    """Decide everything again."""
    state = begin(loaded.plan)
    for event in events:
        state, _ = decide(loaded.plan, state, event)
    if state.phase != "complete":
        raise RuntimeError(f"the replay ended {state.phase}, must be complete")


def trigger(count: int) -> None:
    """Let a machine of the procedure's lifecycle take as many triggers."""
    machine = Machine(states=list(PROCEDURE.states), initial="running", auto_transitions=False)
    for name, source, target in PROCEDURE.rows:
        machine.add_transition(name, source, target)
    calls = [getattr(machine, name) for name in RING]
    for index in range(count):
        calls[index % len(calls)]()


def simulate(count: int) -> None:
    """Let two SimPy processes wait as many times between them."""
    environment = simpy.Environment()

    def work(times: int) -> Generator[simpy.Event, Any, None]:
        for _ in range(times):
            yield environment.timeout(1.0)

    environment.process(work(count // 2))
    environment.process(work(count - count // 2))
    environment.run()


def best_s(work: Callable[[], object]) -> float:
    """Return the shortest time that `work` took."""
    times_s: list[float] = []
    for _ in range(ROUNDS):
        # Of the processor, not of the clock: whatever else the machine does is not counted.
        start_s = time.process_time()
        work()
        times_s.append(time.process_time() - start_s)
    return min(times_s)


def main() -> None:
    """Measure and print."""
    results = Results.begin("core")
    loaded = load(ROOT / "sequences" / "makeup_8.yaml")
    events = recorded(loaded)
    count = len(events)
    core_s = best_s(lambda: replay(loaded, events))
    print(f"{count} events of a make-up of eight bolts, best of {ROUNDS}")
    results.add("core, decide", count / core_s, "per second")
    for name, work in (("transitions, bare", trigger), ("SimPy, bare", simulate)):
        taken_s = best_s(lambda work=work: work(count))  # type: ignore[misc]  # bound as it is now
        results.add(name, count / taken_s, "per second")
        results.add(f"core to {name}", core_s / taken_s, "times")
    results.write()


if __name__ == "__main__":
    main()
