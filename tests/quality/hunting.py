"""Plant a defect in a copy of the program and let a campaign look for it there.

``python -m tests.quality.hunting [NAME ...]`` plants all, or those named, and prints the table.
"""

import json
import os
import shutil
import subprocess
import sys
import time
from dataclasses import asdict, dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.support.house import ROOT

PARTS = ("coordinator", "sim_arms", "sequences")
CASES_MAX = 900
"""So many cases are tried until a defect counts as not found."""
TIME_S_MAX = 600
"""Of the wall; what the table tells is time of the processor, whatever else the machine does."""

HUNT = """
import json, sys, time
from pathlib import Path
from coordinator.campaign.batch import Day, Item, run_batch, run_shrink, run_survey
from coordinator.campaign.planner import Planner
from coordinator.cli.stage import maker_of
from coordinator.sequence import SequenceError, load

path, cases_max = Path(sys.argv[1]), int(sys.argv[2])
began_s = time.process_time()

def tell(**found):
    print(json.dumps({"time_s": round(time.process_time() - began_s, 1), **found}))
    raise SystemExit

try:
    maker = maker_of(path, load(path))
except SequenceError as error:
    tell(found_by="check", signature=error.diagnostics[0].code, cases=0)
planner, number = Planner(maker.words(), 5), 0
for seed in range(5, 100):
    day = Day(seed)
    survey = run_survey(maker, day)
    if survey.outcome.violations:
        tell(found_by="clean day", signature=survey.outcome.signature, cases=number)
    for size in (20, 40, 80, 160):
        items = [Item(i, planner.plan(i, seed, survey)) for i in range(number, number + size)]
        number += size
        broken = [r for r in run_batch(maker, day, items) if r.outcome.violations]
        if broken:
            first = broken[0]
            spent_s = round(time.process_time() - began_s, 1)
            small = run_shrink(maker, day, first.item, first.outcome.signature)
            tell(
                found_by="campaign",
                signature=first.outcome.signature,
                cases=number,
                found_s=spent_s,
                causes_before=small.causes_before,
                causes=len(small.case.causes),
                tries=small.tries,
                again=small.outcome.signature == first.outcome.signature,
            )
        if number >= cases_max:
            tell(found_by="", signature="", cases=number)
"""


@dataclass(frozen=True, slots=True)
class Catch:
    """How a defect was found."""

    name: str
    found_by: str
    signature: str
    cases: int
    time_s: float
    found_s: float = 0.0
    causes_before: int = 0
    causes: int = 0
    tries: int = 0
    again: bool = True
    """Whether the small case fails alike from the very beginning."""


def defects() -> list[Path]:
    """Return every patch that plants a defect, sorted."""
    return sorted((Path(__file__).parent / "patches").glob("*.patch"))


def plant(patch: Path, folder: Path) -> None:
    """Copy the program into a folder and plant a defect in the copy.

    Raises:
        ValueError: the patch does not fit any more.
    """
    for part in PARTS:
        shutil.copytree(ROOT / part, folder / part, ignore=shutil.ignore_patterns("__pycache__"))
    done = subprocess.run(
        ["git", "apply", "-C1", "--recount", str(patch)],
        cwd=folder,
        # The copy may lie inside somebody's checkout, whose files are none of its business.
        env={**os.environ, "GIT_CEILING_DIRECTORIES": str(folder.parent)},
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise ValueError(f"{patch.name} does not fit any more: {done.stderr.strip()}")


def hunt(patch: Path, cases_max: int = CASES_MAX) -> Catch:
    """Plant a defect and look for it."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        plant(patch, folder)
        breaks_out = "b/sequences/breakout.yaml" in patch.read_text(encoding="utf-8")
        sequence = "breakout_8" if breaks_out else "makeup_8"
        began_s = time.monotonic()
        try:
            done = subprocess.run(
                [sys.executable, "-c", HUNT, f"sequences/{sequence}.yaml", str(cases_max)],
                cwd=folder,
                env={**os.environ, "PYTHONPATH": str(folder)},
                capture_output=True,
                text=True,
                timeout=TIME_S_MAX,
                check=False,
            )
        except subprocess.TimeoutExpired:
            return Catch(patch.stem, "", "", 0, time.monotonic() - began_s)
        if done.returncode:
            last = done.stderr.strip().splitlines()[-1] if done.stderr.strip() else "died"
            return Catch(patch.stem, "crash", last[:60], 0, time.monotonic() - began_s)
        return Catch(patch.stem, **json.loads(done.stdout.splitlines()[-1]))


def table(catches: list[Catch]) -> str:
    """Return what was caught as a table."""
    head = "| defect | found by | promise broken | cases | seconds | causes, shrunk | tries |\n"
    head += "|---|---|---|---|---|---|---|\n"
    lines = [
        f"| {one.name.replace('_', ' ')} | {one.found_by or 'not found'} | {one.signature} | "
        f"{one.cases} | {one.found_s or one.time_s:.1f} | "
        f"{f'{one.causes_before} to {one.causes}' if one.causes_before else ''} | "
        f"{one.tries or ''} |\n"
        for one in catches
    ]
    return head + "".join(lines)


def main(names: list[str]) -> None:
    """Plant what is named, or everything, and print the table."""
    catches = []
    for patch in defects():
        if names and patch.stem not in names:
            continue
        catches.append(hunt(patch))
        print(json.dumps(asdict(catches[-1])), file=sys.stderr, flush=True)
    print(table(catches))


if __name__ == "__main__":
    main(sys.argv[1:])
