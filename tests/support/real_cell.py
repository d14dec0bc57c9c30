"""A real cell in small, each part a process: an arm by the kit, a floor that calls itself real.

``python -m tests.support.real_cell arm SIDE SEQUENCE PORT FOLDER``, or ``floor``; the floor obeys
lines such as ``floor_clear no``.
"""

import asyncio
import json
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path

from coordinator.operate.cell_clock import CellClock
from coordinator.rehearse.simulated import Simulation
from coordinator.sequence import load
from coordinator.wire.messages import Value
from sim_arms.kit import Ended, Gone, Working, drive
from sim_arms.node import Broker, run_party
from sim_arms.orders import obey_order
from sim_arms.workbench import Settings
from tests.support.house import ROOT

CHANGE_S = 6.0
OTHER_S = 1.0
RESULTS: Mapping[str, Mapping[str, Value]] = {
    "locate_joint": {"shift_m": 0.0011, "turn_rad": 0.002, "confidence": 0.97},
}


class Crane:
    """A device that needs some seconds for everything, keeps its tool, and measures plausibly."""

    def __init__(self) -> None:
        self.tool = "gripper"
        self._until_s = 0.0
        self._rest_s = 0.0
        self._wanted = ("", "")

    def refusal(self, action: str, parameters: Mapping[str, Value]) -> str | None:
        """Know what the small sequence and the acceptance ask for."""
        known = ("change_tool", "locate_joint", "park", "pull", "stand_by")
        return None if action in known else f"no action '{action}'"

    def begin(self, action: str, parameters: Mapping[str, Value]) -> None:
        """Begin."""
        length_s = CHANGE_S if action == "change_tool" else OTHER_S
        self._until_s = time.monotonic() + length_s
        self._wanted = action, str(parameters.get("tool", ""))

    def look(self) -> Working | Ended | Gone:
        """Tell how far it is."""
        if time.monotonic() < self._until_s:
            return Working()
        action, tool = self._wanted
        self.tool = tool or self.tool
        return Ended(RESULTS.get(action, {}))

    def come_to_rest(self, on_hold: str) -> None:
        """Brake for a tenth of a second."""
        self._rest_s = time.monotonic() + 0.1

    def is_at_rest(self) -> bool:
        """Tell whether it stands."""
        return time.monotonic() >= self._rest_s

    def limit_speed(self, share: float) -> None:
        """Too small to be dangerous at any speed."""


def arm_of_the_kit(name: str, sequence: Path, port: int, folder: Path) -> list[str]:
    """Return the command line of an arm whose driver is made with the kit."""
    where = [str(sequence), str(port), str(folder)]
    return [sys.executable, "-m", "tests.support.real_cell", "arm", name, *where]


def arm_of_node(name: str, sequence: Path, port: int, folder: Path) -> list[str]:
    """Return the command line of an arm whose driver was written from the contract alone."""
    driver = ROOT / "tests" / "support" / "node_driver" / "driver.js"
    cell, ledger = load(sequence).cell.cell, folder / f"{name}.ledger.json"
    more = json.dumps({**RESULTS, "park": {}})
    return ["node", str(driver), "127.0.0.1", str(port), cell, name, str(ledger), more]


class RealCell:
    """Starts and ends the processes."""

    def __init__(
        self,
        sequence: Path,
        port: int,
        folder: Path,
        arm: Callable[[str, Path, int, Path], list[str]] = arm_of_the_kit,
    ) -> None:
        self._where = sequence, port, folder
        self._words = [str(sequence), str(port), str(folder)]
        self._arm = arm
        self._folder = folder
        self._processes: dict[str, subprocess.Popen[bytes]] = {}

    def start(self, name: str) -> None:
        """Start the floor, or the arm of a side."""
        words = [sys.executable, "-m", "tests.support.real_cell", "floor", name, *self._words]
        if name != "floor":
            words = self._arm(name, *self._where)
        with (self._folder / f"{name}.log").open("ab") as log:
            self._processes[name] = subprocess.Popen(
                words,
                stdin=subprocess.PIPE,
                stdout=log,
                stderr=log,
                cwd=ROOT,
            )

    def order(self, line: str) -> None:
        """Tell the floor what a signal is."""
        pipe = self._processes["floor"].stdin
        assert pipe is not None
        pipe.write(line.encode() + b"\n")
        pipe.flush()

    def kill(self, name: str) -> None:
        """End one without a word."""
        process = self._processes.pop(name)
        process.kill()
        process.wait()
        assert process.stdin is not None
        process.stdin.close()

    def end(self) -> None:
        """End them all."""
        for name in list(self._processes):
            self.kill(name)


def main(role: str, name: str, sequence: str, port: str, folder: str) -> None:
    """Be one of them."""
    loaded, clock = load(Path(sequence)), CellClock()
    broker = Broker("127.0.0.1", int(port))
    cell = loaded.cell.cell
    if role == "arm":
        settings = Settings(name, 1, ("floor_clear",), torque_nm_max=8_000.0, simulated=False)
        asyncio.run(
            drive(Crane(), settings, cell=cell, broker=broker, folder=Path(folder), clock_us=clock)
        )
        return
    floor = Simulation(loaded, 1, (), clock()).floor()
    floor.hoist.settings = replace(floor.hoist.settings, simulated=False, boot=clock() // 1_000_000)
    asyncio.run(run_party(floor, cell, broker, clock, orders=partial(obey_order, floor)))


if __name__ == "__main__":
    main(*sys.argv[1:])
