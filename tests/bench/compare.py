"""Compare two commits by one benchmark, in turns on this machine.

    python -m tests.bench.compare core BEFORE AFTER --turns 7

Each commit is checked out into a temporary folder, and both are measured by the benchmark as it is
here: a yardstick that changed with the commit would measure itself. They run in turns (A B A B), so
that what else the machine does meets both; the ratio AFTER to BEFORE is taken within each turn.
Options after ``--`` go to the benchmark.
"""

import argparse
import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import TypedDict

from tests.support.house import ROOT


class FigureRead(TypedDict):
    """One figure as JSON."""

    name: str
    value: float
    unit: str


class Told(TypedDict):
    """What a benchmark has written."""

    commit: str
    machine: dict[str, str | int]
    figures: list[FigureRead]


class Ratio(TypedDict):
    """One figure of both commits."""

    figure: str
    unit: str
    before: float
    after: float
    ratio: float
    least: float
    most: float


def main() -> None:
    """Measure in turns and print each figure's ratio with its spread."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("benchmark", help="the part of its name after bench_")
    parser.add_argument("before", help="commit or branch")
    parser.add_argument("after", help="commit or branch")
    parser.add_argument("--turns", type=int, default=7)
    parser.add_argument("--json", type=Path, help="write the ratios and the machine's facts")
    own = sys.argv[1:]
    end = own.index("--") if "--" in own else len(own)
    asked, options = parser.parse_args(own[:end]), own[end + 1 :]
    with tempfile.TemporaryDirectory() as name:
        trees = [_check_out(Path(name), which) for which in (asked.before, asked.after)]
        try:
            # Warmed up first, the newer one foremost: what it records is replayed by both.
            for tree in reversed(trees):
                _measure(tree, asked.benchmark, options)
            turns = [
                [_measure(tree, asked.benchmark, options) for tree in trees]
                for _ in range(asked.turns)
            ]
        finally:
            for tree in trees:
                _git("worktree", "remove", "--force", str(tree))
    found = _ratios(turns)
    for line in found:
        values = f"{line['before']:>14,.3f}{line['after']:>14,.3f} {line['unit']:<12}"
        spread = f"({line['least']:.3f} to {line['most']:.3f})"
        print(f"{line['figure']:<44}{values}{line['ratio']:>8.3f} {spread}")
    if asked.json:
        commits = [one["commit"] for one in turns[0]]
        content = {"commits": commits, "machine": turns[0][0]["machine"], "ratios": found}
        asked.json.write_text(json.dumps(content, indent=2) + "\n", encoding="utf-8")


def _check_out(folder: Path, which: str) -> Path:
    """Check a commit out, with the benchmarks that are here."""
    tree = folder / f"tree_{len(list(folder.iterdir()))}"
    _git("worktree", "add", "--detach", str(tree), which)
    shutil.rmtree(tree / "tests" / "bench")
    shutil.copytree(ROOT / "tests" / "bench", tree / "tests" / "bench")
    return tree


def _measure(tree: Path, benchmark: str, options: list[str]) -> Told:
    written = tree.parent / "figures.json"
    module = f"tests.bench.bench_{benchmark}"
    subprocess.run(
        (sys.executable, "-m", module, "--json", str(written), *options),
        cwd=tree,
        env={**os.environ, "PYTHONPATH": str(tree), "BENCH_FOLDER": str(tree.parent)},
        check=True,
        stdout=subprocess.DEVNULL,
    )
    read: Told = json.loads(written.read_text(encoding="utf-8"))
    return read


def _ratios(turns: list[list[Told]]) -> list[Ratio]:
    """Return each figure's medians, and the median, least and most of its ratios."""
    found = []
    for place, first in enumerate(turns[0][0]["figures"]):
        pairs = [(a["figures"][place]["value"], b["figures"][place]["value"]) for a, b in turns]
        ratios = [after / before for before, after in pairs if before]
        if not ratios:
            continue
        before, after = (statistics.median(side) for side in zip(*pairs, strict=True))
        found.append(
            Ratio(
                figure=first["name"],
                unit=first["unit"],
                before=before,
                after=after,
                ratio=statistics.median(ratios),
                least=min(ratios),
                most=max(ratios),
            )
        )
    return found


def _git(*words: str) -> None:
    subprocess.run(("git", "-C", str(ROOT), *words), check=True, capture_output=True)


if __name__ == "__main__":
    main()
