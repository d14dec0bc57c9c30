"""A whole cell of real processes whose arms write down all that reaches them and all they do.

Its bus, or the network beneath it, is the test's to break; what came of it is judged from what the
arms have written.

Units: ``*_us`` whole microseconds of the cell's clock; ``*_s`` seconds of the wall.
Invariants: independence, the judges ask nothing of the coordinator.
"""

import contextlib
import json
import os
import signal
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from coordinator.live.hurry import hurried
from coordinator.operate.cell_clock import CellClock
from coordinator.rehearse.simulated import Simulation
from coordinator.sequence import Loaded, load
from coordinator.wire.codec import encode
from coordinator.wire.messages import Finished, Interrupted, Started
from tests.support.arm_side import ArmSide
from tests.support.kill_everything import fork
from tests.support.kill_party import END_FILE, arm_side_of, be_coordinator, be_party
from tests.support.short_sequence import WINDOW_US, write_short_sequence
from tests.support.span_judge import Bounds, Delivery, SpanJudge

SIDES = ("fore", "aft")
WAIT_S = 90.0
"""Chosen: many times what anything here takes."""
LATE_S = 2.0
"""Chosen: what a busy machine may be late to let a process do what is due."""


@dataclass(slots=True)
class LiveCell:
    """A cell at work."""

    folder: Path
    loaded: Loaded
    clock: CellClock
    processes: dict[str, int] = field(default_factory=dict)

    def side(self) -> ArmSide:
        """Return what the arms have heard and done up to now."""
        return arm_side_of(self.folder, SIDES)

    def wait_for(self, is_there: Callable[[ArmSide], bool]) -> ArmSide:
        """Read the arms' histories until something stands there."""
        end_s = time.monotonic() + WAIT_S
        while time.monotonic() < end_s:
            side = self.side()
            if is_there(side):
                return side
            time.sleep(0.02)
        raise AssertionError(f"it never happened; {self.told()}")

    def wait_end(self) -> str:
        """Return how the run ended."""
        end_s = time.monotonic() + WAIT_S
        while time.monotonic() < end_s:
            if (self.folder / END_FILE).is_file():
                document = json.loads((self.folder / END_FILE).read_text(encoding="utf-8"))
                return str(document["phase"])
            time.sleep(0.02)
        raise AssertionError(f"the run never ends; {self.told()}")

    def told(self) -> str:
        """Return what people were told."""
        path = self.folder / "told.log"
        return path.read_text(encoding="utf-8") if path.is_file() else "nothing was told"

    def judge(self) -> SpanJudge:
        """Return who judges the pulls."""
        return SpanJudge(_deliveries(self.folder), "pull", "lift_wrench")

    def findings(self) -> list[str]:
        """Return what the arms' histories say that must never be."""
        side = self.side()
        timing = hurried(self.loaded.plan, self.clock.speed).timing
        [span] = self.loaded.plan.spans
        bounds = Bounds(
            window_us=WINDOW_US,
            balance_nm=span.balance_nm,
            stop_us=3_000_000,
            torque_nm_most=self.loaded.joint.torque_nm * 1.05,
            deaf_us=timing.lease_us + timing.silence_us + int(LATE_S * 1e6 * self.clock.speed),
        )
        return side.double_pulls(WINDOW_US) + self.judge().findings(bounds)


def are_both_pulling(side: ArmSide) -> bool:
    """Tell whether both wrenches turn."""
    return _with_pull(side, Started) - _with_pull(side, Finished, Interrupted) == set(SIDES)


def has_nobody_pulling(side: ArmSide) -> bool:
    """Tell whether both wrenches have pulled and stand."""
    return _with_pull(side, Finished, Interrupted) == set(SIDES)


@contextlib.contextmanager
def live_cell(
    folder: Path,
    broker: str,
    *,
    speed: float = 1.0,
    enter: Callable[[str], None] = lambda name: None,
) -> Iterator[LiveCell]:
    """Run the short sequence by processes, each a host of its own if need be.

    Args:
        folder: Empty; gets the files of all processes.
        broker: Its address, as parties see it.
        speed: How much faster than the wall the cell lives.
        enter: Called by each process with its name before all else.
    """
    sequence = write_short_sequence(folder)
    loaded = load(sequence)
    cell = LiveCell(folder, loaded, CellClock(time.time_ns() // 1_000, speed))

    def start(name: str) -> None:
        def work() -> None:
            enter(name)
            if name == "coordinator":
                be_coordinator(loaded, sequence, folder, broker, cell.clock)
            else:
                be_party(name, loaded, folder, broker, cell.clock)

        cell.processes[name] = fork(work, folder / f"{name}.log")

    try:
        for name in (*Simulation(loaded, 1).names, "coordinator"):
            start(name)
        yield cell
    finally:
        for number in cell.processes.values():
            with contextlib.suppress(ProcessLookupError, ChildProcessError):
                os.kill(number, signal.SIGKILL)
                os.waitpid(number, 0)


def _with_pull(
    side: ArmSide, *kinds: type[Started] | type[Finished] | type[Interrupted]
) -> set[str]:
    """Return the arms whose ledger has such an entry about a pull."""
    found = set()
    for name, store in side.stores.items():
        for one in store.entries:
            if isinstance(one.body, kinds):
                do = side.commands.get((name, one.body.command))
                if do is not None and do.action == "pull":
                    found.add(name)
    return found


def _deliveries(folder: Path) -> list[Delivery]:
    """Return the histories as the span judge reads a bus, in the order of their times."""
    found = []
    side = arm_side_of(folder, SIDES)
    kept = [one for store in side.stores.values() for one in store.entries]
    for one in (*side.orders, *kept):
        document: dict[str, Any] = json.loads(encode(one))
        found.append(document | {"at_us": one.sent_us, "sent_us": one.sent_us})
    return sorted(found, key=lambda one: int(one["at_us"]))
