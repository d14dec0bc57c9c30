"""Start every simulated party of a run as a process of its own, and leave none behind.

Units: ``*_s`` seconds.
"""

import contextlib
import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from coordinator.operate.party_process import (
    BROKER_VARIABLE,
    CAUSES_FILE,
    PARTS,
    Part,
    write_causes,
)

STOP_S = 3.0
"""Chosen: more than a party takes to say farewell."""


class Children:
    """The processes, as a context manager.

    They stand in sessions of their own, out of reach of the terminal's Ctrl-C: the arms must still
    be there to be held. Their standard input is a leash: it closes when we end, however we end.
    """

    def __init__(self, parts: Sequence[Part], broker: str, folder: Path) -> None:
        self._parts = parts
        self._broker = broker
        self._folder = folder
        self._processes: dict[str, subprocess.Popen[bytes]] = {}

    def __enter__(self) -> "Children":
        try:
            write_causes(self._folder / CAUSES_FILE, self._parts[0].causes)
            for part in self._parts:
                self._processes[part.name] = self._start(part)
        except BaseException:
            self.stop()
            raise
        return self

    def __exit__(self, *_: object) -> None:
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

    def _start(self, part: Part) -> subprocess.Popen[bytes]:
        told = PARTS.dump_json(part).decode()
        with self._log(part.name).open("wb") as output:
            return subprocess.Popen(
                [sys.executable, "-P", "-m", "coordinator.operate.party_process", told],
                stdin=subprocess.PIPE,
                stdout=output,
                stderr=output,
                env={**os.environ, BROKER_VARIABLE: self._broker},
                start_new_session=True,
            )

    def _log(self, name: str) -> Path:
        return self._folder / f"{name}.log"
