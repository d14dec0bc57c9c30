"""Keep what a benchmark has measured: as lines for people, and as JSON with the machine's facts.

Every benchmark takes ``--json FILE``. Two files are comparable only if their machines are equal;
two commits are compared in turns on one machine by ``python -m tests.bench.compare``.
"""

import argparse
import json
import os
import platform
import subprocess
import sys
from dataclasses import asdict, dataclass, field
from pathlib import Path

from tests.support.house import ROOT


@dataclass(frozen=True, slots=True)
class Figure:
    """One measured value."""

    name: str
    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class Machine:
    """What a figure depends on beside the program."""

    cores: int
    cpu: str
    system: str
    python: str

    @classmethod
    def here(cls) -> "Machine":
        return cls(
            len(os.sched_getaffinity(0)),
            _cpu_model(),
            f"{platform.system()} {platform.release()}",
            platform.python_version(),
        )


@dataclass(slots=True)
class Results:
    """The figures of one run of a benchmark."""

    benchmark: str
    path: Path | None = None
    figures: list[Figure] = field(default_factory=list)

    @classmethod
    def begin(cls, benchmark: str) -> "Results":
        """Take ``--json FILE`` out of the command line and leave the rest to the benchmark."""
        parser = argparse.ArgumentParser(add_help=False)
        parser.add_argument("--json", type=Path)
        known, rest = parser.parse_known_args(sys.argv[1:])
        sys.argv[1:] = rest
        return cls(benchmark, known.json)

    def add(self, name: str, value: float, unit: str = "") -> None:
        """Keep a figure and print it."""
        self.figures.append(Figure(name, value, unit))
        print(f"{name:<44}{value:>14,.3f} {unit}".rstrip(), flush=True)

    def write(self) -> None:
        """Write the figures as JSON, if that was asked for."""
        if self.path is None:
            return
        content = {
            "benchmark": self.benchmark,
            "commit": commit_of(ROOT),
            "machine": asdict(Machine.here()),
            "figures": [asdict(one) for one in self.figures],
        }
        self.path.write_text(json.dumps(content, indent=2) + "\n", encoding="utf-8")


def commit_of(folder: Path) -> str:
    """Return the commit that a folder is at, with ``+`` where files differ from it."""
    found = _git(folder, "rev-parse", "--short=12", "HEAD")
    return found + ("+" if found and _git(folder, "status", "--porcelain", "-uno") else "")


def _git(folder: Path, *words: str) -> str:
    asked = subprocess.run(
        ("git", "-C", str(folder), *words), capture_output=True, text=True, check=False
    )
    return asked.stdout.strip()


def _cpu_model() -> str:
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        return platform.processor()
    return next((line.split(":", 1)[1].strip() for line in lines if "model name" in line), "")
