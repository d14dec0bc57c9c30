"""A run of the program with its live page, as a process of its own."""

import contextlib
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from coordinator.page.operators import Operator, write_operator
from tests.support.page_sequence import write_page_sequence
from tests.support.sequence_files import make_patient

PHRASE = "up the string"
OPERATORS = ("mate", "bosun")
END_S = 60.0


@dataclass(frozen=True, slots=True)
class PageRun:
    """Where a run is to be visited, and what it leaves."""

    address: str
    out: Path
    process: "subprocess.Popen[str]"

    def end(self) -> int:
        """Wait for the end and return the exit code."""
        return self.process.wait(END_S)


@contextlib.contextmanager
def page_run(folder: Path, speed: float = 2.0, broker: str = "") -> Iterator[PageRun]:
    """Start a run with its page and yield it; it is ended whatever comes."""
    operators, out = folder / "operators.json", folder / "out"
    for name in OPERATORS:
        write_operator(operators, Operator.of(name, PHRASE))
    sequence = make_patient(write_page_sequence(folder / "sequences"))
    words = ["run", str(sequence), "--out", str(out), "--speed", str(speed)]
    words += ["--page", "--page-at", "127.0.0.1:0", "--operators", str(operators)]
    words += ["--broker", broker] if broker else []
    log = folder / "said"
    with log.open("w") as said:
        process = subprocess.Popen(
            [sys.executable, "-u", "-m", "coordinator.cli.app", *words],
            stdin=subprocess.DEVNULL,
            stdout=said,
            stderr=subprocess.STDOUT,
            text=True,
        )
    try:
        yield PageRun(_address(process, log), out, process)
    finally:
        if process.poll() is None:
            process.terminate()
            try:
                process.wait(20.0)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def _address(process: "subprocess.Popen[str]", log: Path) -> str:
    """Wait until the run says where its page is."""
    for _ in range(600):
        found = re.search(r"live page: (\S+/)", log.read_text())
        if found:
            return found[1]
        # Waits for the process a moment; ended means that it will never say.
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(0.1)
            break
    raise AssertionError(log.read_text())
