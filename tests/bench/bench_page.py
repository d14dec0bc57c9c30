"""Whether viewers of the live page slow the run down: decisions with and without 50 of them.

``python -m tests.bench.bench_page [VIEWERS]``; prints ratios of step latencies, asserts nothing.

They look and look away in turns, so that what else the machine does weighs on both alike; how far
turns without anybody differ among themselves says what is measurable at all.
"""

import asyncio
import statistics
import sys
import tempfile
import time
from pathlib import Path

import httpx

from coordinator.core.decide import begin
from coordinator.operate.run_page import PageWish, RunPage
from coordinator.page.board import Facts
from coordinator.sequence import load
from tests.bench.results import Results
from tests.support.sequence_files import SEQUENCES

VIEWERS = 50
WARM_S = 8.0
"""Until the page's own rehearsal is over, or 50 viewers have come or gone."""
LOOK_S = 6.0
TURNS = 6
STEP_S = 0.005


async def _look(address: str) -> int:
    """Read events as a browser does, until cancelled."""
    count = 0
    async with (
        httpx.AsyncClient(timeout=None) as client,
        client.stream("GET", f"{address}api/events") as lines,
    ):
        async for line in lines.aiter_lines():
            count += line.startswith("data:")
    return count


async def _latencies(seconds: float) -> list[float]:
    """Return how late a task wakes that is due every few milliseconds, as the runtime's is."""
    late = []
    end = time.perf_counter() + seconds
    while (began := time.perf_counter()) < end:
        await asyncio.sleep(STEP_S)
        late.append(time.perf_counter() - began - STEP_S)
    return late


async def _measure(viewers: int, told: Results) -> None:
    loaded = load(SEQUENCES / "makeup_8.yaml")
    said: list[str] = []
    state = begin(loaded.plan)
    with tempfile.TemporaryDirectory() as folder:
        wish = PageWish("127.0.0.1:0", None, folder, SEQUENCES / "makeup_8.yaml")
        page = RunPage(
            wish,
            loaded.plan,
            state,
            Facts("bench", True, 1.0, loaded.joint),
            now_us=lambda: time.monotonic_ns() // 1000,
            say=said.append,
        )
        async with page.served(lambda call: None):
            address = said[0].split()[2].rstrip(",")
            await asyncio.sleep(WARM_S)
            alone, watched = [], []
            for _ in range(TURNS):
                alone.append(await _latencies(LOOK_S))
                watched.append(await _watched(address, viewers))
    for name, take in (("median", statistics.median), ("99 %", _late)):
        base = statistics.median(take(one) for one in alone)
        ratio = statistics.median(take(one) for one in watched) / base
        spread = sorted(take(one) / base for one in alone)
        told.add(f"step latency with {viewers} viewers, {name}", ratio, "× alone")
        print(f"alone, turns differ from {spread[0]:.2f} to {spread[-1]:.2f}")
    told.write()


async def _watched(address: str, viewers: int) -> list[float]:
    """Return latencies while viewers of another process look on."""
    script = (
        "import asyncio, sys; from tests.bench.bench_page import _look\n"
        "async def go():\n"
        "    await asyncio.gather(*(_look(sys.argv[1]) for _ in range(int(sys.argv[2]))))\n"
        "asyncio.run(go())\n"
    )
    browsers = await asyncio.create_subprocess_exec(
        sys.executable, "-c", script, address, str(viewers),
        cwd=Path(__file__).parents[2],
    )  # fmt: skip
    await asyncio.sleep(WARM_S)
    found = await _latencies(LOOK_S)
    browsers.kill()
    await browsers.wait()
    return found


def _late(values: list[float]) -> float:
    return sorted(values)[int(len(values) * 0.99)]


if __name__ == "__main__":
    RESULTS = Results.begin("page")
    asyncio.run(_measure(int(sys.argv[1]) if len(sys.argv) > 1 else VIEWERS, RESULTS))
