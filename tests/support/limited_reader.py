"""Read files in children that may use little memory and time, one child for each file.

Run as a program: a line of JSON in (`reader`, `path`), a line of JSON out. Imports are made once,
so that a child's time is the reading alone.
"""

import json
import os
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from coordinator.sequence import SequenceError, load, read_answers, read_case, read_cell, read_joint
from coordinator.sequence.form.quantities import Dimension, parse_quantity
from tests.support.sequence_files import SEQUENCES

MEMORY_BYTES_MAX = 1024**3
CPU_S_MAX = 10
MAKEUP = SEQUENCES / "makeup_8.yaml"
WALL_S_MAX = 30
READERS: dict[str, Callable[[Path], object]] = {
    "case": lambda path: read_case(path, {"burr": {"height": "length"}}, sides=("fore", "aft")),
    "answers": read_answers,
    "cell": read_cell,
    "joint": read_joint,
    "joint instead": lambda path: load(MAKEUP, joint=path),
    "sequence": load,
}


class LimitedReader:
    """The program, seen from a test."""

    def __init__(self) -> None:
        """Start it."""
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.support.limited_reader"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parents[2],
        )

    def read(self, path: Path, reader: str = "sequence") -> dict[str, Any]:
        """Return what became of reading a file."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps({"reader": reader, "path": str(path)}) + "\n")
        self._process.stdin.flush()
        answer: dict[str, Any] = json.loads(self._process.stdout.readline())
        return answer

    def close(self) -> None:
        """End it."""
        self._process.communicate("", timeout=10)


def _serve() -> None:
    parse_quantity("1 s", Dimension.TIME)  # The unit library is imported with the first quantity.
    for line in sys.stdin:
        print(json.dumps(_read_in_child(**json.loads(line))), flush=True)


def _read_in_child(reader: str, path: str) -> dict[str, Any]:
    read_end, write_end = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read_end)
        _be_child(reader, Path(path), write_end)
    os.close(write_end)
    with os.fdopen(read_end, encoding="utf-8") as pipe:
        told = pipe.read()
    _, status, usage = os.wait4(child, 0)
    answer: dict[str, Any] = json.loads(told) if told else {"end": "killed"}
    return answer | {"status": status, "cpu_s": usage.ru_utime + usage.ru_stime}


def _be_child(reader: str, path: Path, write_end: int) -> None:
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES_MAX, MEMORY_BYTES_MAX))
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_S_MAX, CPU_S_MAX))
    signal.alarm(WALL_S_MAX)
    begun_s = time.process_time()
    try:
        READERS[reader](path)
        answer: dict[str, Any] = {"end": "read"}
    except SequenceError as error:
        found = error.diagnostics
        answer = {
            "end": "refused",
            "codes": list(dict.fromkeys(one.code for one in found)),
            "texts": [str(one) for one in found],
            "rendered": len(error.render()),
        }
    except BaseException as error:
        answer = {"end": f"raised {type(error).__name__}: {error}"[:500]}
    answer["reading_s"] = time.process_time() - begun_s
    with os.fdopen(write_end, "w", encoding="utf-8") as pipe:
        pipe.write(json.dumps(answer))
    os._exit(0)


if __name__ == "__main__":
    _serve()
