"""Run for an hour with both arms telling 100 times a second what they feel; watch memory and lag.

Run with ``python -m tests.bench.bench_soak`` (``--minutes`` for another length); prints a line for
each part of the time and ratios of the last to the first, and asserts nothing.

The coordinator is the product's own runtime with link and journal, on a Mosquitto, and each arm a
process of its own. Lag is from an arm's telemetry leaving it to the coordinator deciding about it.

Units: ``*_s`` seconds; ``*_us`` microseconds of the cell's clock; ``*_kib`` 1,024 bytes.
"""

import argparse
import asyncio
import statistics
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from coordinator.live.coordinator import Coordinator
from coordinator.wire.messages import Message, Progressed
from tests.bench.bench_latency import gaps, prompt_broker
from tests.bench.bus_rig import SIDES, Work, coordinate, notes_of, parties
from tests.bench.results import Results
from tests.support.brokers import MOSQUITTO

TELEMETRY_HZ = 100.0
STEP_S = 5.0
PARTS = 10
WARM_S = 10.0
"""Chosen: imports, first allocations and the start of the run are over by then."""
PERCENTILE = 99


@dataclass(slots=True)
class Part:
    """A part of the time."""

    until_s: float
    lags_us: list[int] = field(default_factory=list)
    memory_kib: dict[str, int] = field(default_factory=dict)
    journal_kib: int = 0


class MeasuredCoordinator(Coordinator):
    """A coordinator that knows how late telemetry reaches it."""

    lags_us: list[int]

    def receive_all(self, batch: Sequence[tuple[Message, bool]], now_us: int) -> list[Message]:
        """Note, and go on."""
        for message, _ in batch:
            if isinstance(message.body, Progressed):
                self.lags_us.append(now_us - message.sent_us)
        return super().receive_all(batch, now_us)


def memory_kib(process: int | str) -> int:
    """Return how much memory of a process is resident."""
    for line in Path(f"/proc/{process}/status").read_text(encoding="utf-8").splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1])
    raise RuntimeError(f"process {process} has no memory, must have ended")


async def watch(
    coordinator: Coordinator, folder: Path, numbers: dict[str, int], part_s: float
) -> None:
    """Print a line for each part of the time, and ratios once there are two."""
    assert isinstance(coordinator, MeasuredCoordinator)
    await asyncio.sleep(WARM_S)
    first: Part | None = None
    begin_s = time.monotonic()
    for _ in range(PARTS):
        coordinator.lags_us = []
        await asyncio.sleep(part_s)
        part = Part(time.monotonic() - begin_s, sorted(coordinator.lags_us))
        part.memory_kib = {"coordinator": memory_kib("self")}
        part.memory_kib |= {name: memory_kib(number) for name, number in numbers.items()}
        part.journal_kib = (folder / "journal.log").stat().st_size // 1024
        first = first or part
        print_part(part, first, part_s)


def print_part(part: Part, first: Part, part_s: float) -> None:
    """Print one line."""
    memory = part.memory_kib
    print(
        f"{part.until_s / 60:6.1f} min {len(part.lags_us) / part_s:7.1f}/s"
        f"  lag {statistics.median(part.lags_us) / 1e3:6.2f} ms"
        f" {percentile(part.lags_us) / 1e3:7.2f} ms {part.lags_us[-1] / 1e3:8.2f} ms"
        f"  memory {memory['coordinator'] / 1024:6.1f} MiB"
        f" (x{memory['coordinator'] / first.memory_kib['coordinator']:.3f})"
        f"  arms {sum(memory[side] for side in SIDES) / 1024:6.1f} MiB"
        f" (x{sum(memory[s] for s in SIDES) / sum(first.memory_kib[s] for s in SIDES):.3f})"
        f"  journal {part.journal_kib / 1024:6.1f} MiB",
        flush=True,
    )


def percentile(ordered: Sequence[int]) -> int:
    """Return what so many in a hundred lie below."""
    return ordered[min(len(ordered) * PERCENTILE // 100, len(ordered) - 1)]


def tell_steps(told: Results, folder: Path) -> None:
    """Tell from step done to next command, at the beginning and at the end."""
    times_s = [
        gap for side in SIDES for gap in gaps(notes_of(folder / f"{side}.notes"), "finished", "do")
    ]
    share = max(len(times_s) // PARTS, 1)
    early_s, late_s = statistics.median(times_s[:share]), statistics.median(times_s[-share:])
    print(f"step done to next command, {len(times_s)} times:")
    told.add("step done to next command, median", statistics.median(times_s) * 1e3, "ms")
    told.add("step done to next command, most", max(times_s) * 1e3, "ms")
    told.add("last tenth to first", late_s / early_s, "times")


def main() -> None:
    """Soak and print."""
    told = Results.begin("soak")
    if MOSQUITTO is None:
        raise SystemExit("Mosquitto is not installed; bash tests/all.sh installs it")
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=60.0)
    length_s = parser.parse_args().minutes * 60.0
    # More than there is time for: the run is held and left when the time is over.
    rounds = round((length_s + 2 * WARM_S) / (2 * STEP_S)) + 1
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        work = Work(STEP_S, TELEMETRY_HZ)
        MeasuredCoordinator.lags_us = []
        with prompt_broker(MOSQUITTO, folder) as port, parties(folder, port, work) as numbers:
            print("time, telemetry, lag (median, 99 of 100, most), memory resident, journal")
            running = coordinate(
                folder,
                port,
                rounds,
                kind=MeasuredCoordinator,
                beside=lambda one: watch(one, folder, numbers, length_s / PARTS),
                length_s=length_s + 2 * WARM_S,
            )
            ended = asyncio.run(running)
        print(f"{ended.state.phase}, dropped {sum(ended.dropped.values())}")
        tell_steps(told, folder)
    told.write()


if __name__ == "__main__":
    main()
