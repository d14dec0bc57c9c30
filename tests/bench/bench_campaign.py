"""Measure cases per second of a campaign, how it scales, and a bare simulator on the same events.

Run with ``python -m tests.bench.bench_campaign``; prints ratios and asserts no time. Time is that
of the processor, so that what else runs on the machine counts little; scaling is of the wall.
"""

import time

from coordinator.campaign.batch import Day, Item, first_us, run_batch, run_survey
from coordinator.campaign.planner import Planner
from coordinator.campaign.pool import Job, workers
from coordinator.rehearse.stage import maker_of
from coordinator.sequence import load
from tests.bench.bench_core import simulate
from tests.bench.results import Results
from tests.support.house import ROOT

CASES = 1_000
DAY = Day(1)


def main() -> None:
    """Measure and print."""
    told = Results.begin("campaign")
    path = ROOT / "sequences" / "makeup_8.yaml"
    maker = maker_of(path, load(path))
    planner, survey = Planner(maker.words(), 1), run_survey(maker, DAY)
    items = [Item(number, planner.plan(number, DAY.seed, survey)) for number in range(CASES)]

    began_s = time.process_time()
    results = run_batch(maker, DAY, items)
    taken_s = time.process_time() - began_s
    # Deliveries of a clean day up to where each case begins were made once, for all.
    lived_s = sum((one.outcome.at_us - first_us(one.item.case)) / 1e6 for one in results)
    per_s = survey.outcome.index / (survey.ended_us / 1e6)
    events = round(lived_s * per_s)
    began_s = time.process_time()
    simulate(events)
    bare_s = time.process_time() - began_s
    print(f"{CASES} cases, {lived_s:.0f} s lived through, about {events} deliveries")
    told.add("cases", CASES / taken_s, "per second and core")
    told.add("a bare SimPy script of as many deliveries", taken_s / bare_s, "times")
    told.add("two workers to one", scaling(maker, items), "times")
    told.write()


def scaling(maker: object, items: list[Item]) -> float:
    """Return how much faster two workers are than one, on the same eight batches."""
    taken_s = []
    parts = [items[start : start + 100] for start in range(0, len(items), 100)] * 2
    for count in (2, 3):
        # One of three is left without a job: both are then processes of the same kind.
        with workers(count) as pool:
            for _ in range(count):
                pool.submit(Job(0, run_batch, (maker, DAY, items[:1])))
            while not pool.is_idle:
                pool.finished()
            began_s = time.perf_counter()
            width = count - 1
            waiting, running = list(parts), 0
            while waiting or running:
                while waiting and running < width:
                    pool.submit(Job(0, run_batch, (maker, DAY, waiting.pop())))
                    running += 1
                running -= len(pool.finished())
            taken_s.append(time.perf_counter() - began_s)
    return taken_s[0] / taken_s[1]


if __name__ == "__main__":
    main()
