"""Measure whole runs per second, with physics and without keeping a trace, beside a bare simulator.

Run with ``python -m tests.bench.bench_runs``; prints ratios and asserts no time. The SimPy script
lets as many processes wait as many times in all as the run delivers messages and wakes parties: it
decides nothing and knows no physics, so the ratio is what deciding and physics cost.
"""

from collections.abc import Generator
from typing import Any

import simpy

from coordinator.rehearse.clearance import nearest
from coordinator.rehearse.rehearsal import Rehearsal, rehearse
from coordinator.sequence import Loaded, load
from sim_arms.world import World
from tests.bench.bench_core import best_s
from tests.bench.results import Results
from tests.support.house import ROOT

PARTIES = 4
"""Two arms, the floor, the coordinator."""


def counted(loaded: Loaded) -> tuple[Rehearsal, int]:
    """Return a run and how many events it took: messages delivered and times woken."""
    events = 0
    happen = World._happen

    def count(self: World, name: str, item: Any) -> None:
        nonlocal events
        events += 1
        happen(self, name, item)

    World._happen = count  # type: ignore[method-assign]  # counted once, outside the measured runs
    try:
        return rehearse(loaded), events
    finally:
        World._happen = happen  # type: ignore[method-assign]  # as it was


def simulate(count: int) -> None:
    """Let as many processes as there are parties wait as many times in all."""
    environment = simpy.Environment()

    def work(times: int) -> Generator[simpy.Event, Any, None]:
        for _ in range(times):
            yield environment.timeout(1.0)

    for party in range(PARTIES):
        environment.process(work(count // PARTIES + (party < count % PARTIES)))
    environment.run()


def main() -> None:
    """Measure and print."""
    told = Results.begin("runs")
    loaded = load(ROOT / "sequences" / "makeup_8.yaml")
    result, events = counted(loaded)
    if result.phase != "complete":
        raise RuntimeError(f"the run ended {result.phase}, must be complete")
    run_s = best_s(lambda: rehearse(loaded))
    print(f"{events} events in {result.time_us / 6e7:.1f} min of virtual time, best of 5")
    told.add("run, physics, no trace", 1.0 / run_s, "runs per second")
    told.add("virtual over real time", result.time_us / 1e6 / run_s, "times")
    for name, taken_s in (
        ("SimPy, as many events", best_s(lambda: simulate(events))),
        ("with a trace written", best_s(lambda: rehearse(loaded, write_line=len))),
        ("clearance of the run", best_s(lambda: nearest(result))),
    ):
        told.add(f"run to: {name}", run_s / taken_s, "times")
    told.write()


if __name__ == "__main__":
    main()
