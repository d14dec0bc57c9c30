"""Start every simulated party of a run as a process of its own, and leave none behind.

Units: ``*_s`` seconds.
"""

import contextlib
import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType

from coordinator.operate.cell_clock import CellClock
from coordinator.operate.party_process import BROKER_VARIABLE, CAUSES_FILE, write_causes
from sim_arms.causes import Cause

STOP_S = 3.0
"""Chosen: more than a party takes to say farewell."""


@dataclass(frozen=True, slots=True)
class Cast:
    """Who plays, and in which world."""

    names: tuple[str, ...]
    sequence_path: Path
    joint_path: Path | None
    """A joint instead of the one that the sequence names."""
    seed: int
    causes: tuple[Cause, ...]
    clock: CellClock


class Children:
    """The processes, as a context manager.

    They stand in sessions of their own, out of reach of the terminal's Ctrl-C: the arms must still
    be there to be held. Their standard input is a leash: it closes when we end, however we end.
    """

    def __init__(self, cast: Cast, broker: str, folder: Path) -> None:
        self._cast = cast
        self._broker = broker
        self._folder = folder
        self._processes: dict[str, subprocess.Popen[bytes]] = {}

    def __enter__(self) -> "Children":
        try:
            causes = self._folder / CAUSES_FILE
            write_causes(causes, self._cast.causes)
            for name in self._cast.names:
                self._processes[name] = self._start(name, causes)
        except BaseException:
            self.stop()
            raise
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.stop()

    def ended(self) -> Sequence[str]:
        """Tell which of them have ended, and where their last words are."""
        return [
            f"the process of '{name}' ended with {process.returncode}, see {self._log(name)}"
            for name, process in self._processes.items()
            if process.poll() is not None
        ]

    def stop(self) -> None:
        """End them all; safe to call twice."""
        for process in self._processes.values():
            if process.poll() is None:
                process.terminate()
        for process in self._processes.values():
            try:
                process.wait(STOP_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
            if process.stdin is not None:
                with contextlib.suppress(OSError):
                    process.stdin.close()

    def _start(self, name: str, causes: Path) -> subprocess.Popen[bytes]:
        cast = self._cast
        command = [sys.executable, "-m", "coordinator.operate.party_process", name]
        command += [str(cast.sequence_path.absolute()), "--folder", str(self._folder)]
        if cast.joint_path is not None:
            command += ["--joint", str(cast.joint_path.absolute())]
        command += ["--seed", str(cast.seed), "--causes", str(causes)]
        command += ["--clock-base", str(cast.clock.base_us), "--speed", str(cast.clock.speed)]
        with self._log(name).open("wb") as output:
            return subprocess.Popen(
                command,
                stdin=subprocess.PIPE,
                stdout=output,
                stderr=output,
                env={**os.environ, BROKER_VARIABLE: self._broker},
                start_new_session=True,
            )

    def _log(self, name: str) -> Path:
        return self._folder / f"{name}.log"
