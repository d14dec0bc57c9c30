"""The verb `new` as a script and a person at a terminal see it."""

import json
import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.house import ROOT

GOOD, FINDINGS, BAD_USE = 0, 1, 2
FACTS = {
    "--bolts": "8",
    "--thread": "M30",
    "--grade": "8.8",
    "--bolt-circle": "420 mm",
    "--grip": "120 mm",
    "--engagement": "40 mm",
    "--friction": "0.12",
    "--wrench-torque": "3 kN.m",
    "--calibrated": "2026-01-01",
    "--calibration-due": "2199-01-01",
}
SIDES = ("--side", "left", "--side", "right")
HOISTED = {"--bolts": "12", "--thread": "2-8UN", "--grade": "A193 B7", "--friction": "0.07"}
HOISTED |= {"--wrench-torque": "8 kN.m", "--bolt-circle": "720 mm", "--grip": "210 mm"}
HOISTED |= {"--engagement": "60 mm", "--signals": "floor_clear:trip, gate_shut:interlock"}


def bothsides(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run the program in a folder, without a terminal."""
    return subprocess.run(
        [sys.executable, "-m", "coordinator.cli.app", *words],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )


def flags(**changed: str) -> list[str]:
    facts = FACTS | {"--" + name.replace("_", "-"): value for name, value in changed.items()}
    return [*SIDES, *(word for pair in facts.items() for word in pair)]


@pytest.mark.parametrize(
    ("extra", "records"), [((), 8 * 8), (("--hoist",), 12 * 8)], ids=["alone", "hoist"]
)
def test_a_new_cell_keeps_every_rule_and_its_first_sequence_runs(
    tmp_path: Path, extra: tuple[str, ...], records: int
) -> None:
    """The first thing that an author tries must work, and be theirs to change from there."""
    facts = FACTS | (HOISTED if extra else {})
    words = [word for pair in facts.items() for word in pair]
    made = bothsides(tmp_path, "new", "quay", *SIDES, *words, *extra, "--json")
    written = json.loads(made.stdout)["written"]
    checked = bothsides(tmp_path, "check", "--quick", *(f"quay/{name}" for name in written[:3]))
    run = bothsides(tmp_path, "dryrun", "quay/first.yaml", "--json")

    assert (made.returncode, checked.returncode, run.returncode) == (GOOD, GOOD, GOOD), run.stderr
    assert written[:3] == ["cells/quay.yaml", "first.yaml", "joints/quay.yaml"]
    assert [path.name for path in tmp_path.iterdir()] == ["quay"]
    assert json.loads(run.stdout)["records"] == records


@pytest.mark.parametrize(
    ("words", "told", "code"),
    [
        ([], "12 flags missing", BAD_USE),
        (flags(bolts="7"), "--bolts is '7', must be even, from 4 to 32", BAD_USE),
        (flags(thread="M31"), "--thread is 'M31'", BAD_USE),
        (flags(grade="9.9"), "--grade is '9.9', bolt grade is '9.9', must be one of", BAD_USE),
        (flags(grip="12 kN"), "--grip is '12 kN', must be a length", BAD_USE),
        (flags(friction="two"), "--friction is 'two', must be a number", BAD_USE),
        (flags(signals="floor_clear"), "must be name:kind", BAD_USE),
        (flags(calibrated="soon"), "--calibrated is 'soon', must be a day", BAD_USE),
        ([*flags(), "--side", "top"], "3 sides given, must be two", BAD_USE),
        (flags(calibration_due="2020-01-01"), "[SEQ052]", FINDINGS),
        (flags(wrench_torque="500 N.m"), "[SEQ048]", FINDINGS),
        (flags(sockets="80 mm"), "[SEQ062]", FINDINGS),
        (flags(stress="900 MPa", wrench_torque="9 kN.m"), "[SEQ049]", FINDINGS),
    ],
)
def test_a_cell_that_would_not_run_is_not_written(
    tmp_path: Path, words: list[str], told: str, code: int
) -> None:
    """NW1: Half a folder would have to be cleaned up by whoever made one mistake."""
    done = bothsides(tmp_path, "new", "quay", *words)

    assert told in done.stderr.replace("\n", " ")
    assert "nothing is written" in done.stderr or "must be two" in done.stderr
    assert done.returncode == code
    assert list(tmp_path.iterdir()) == []


def test_a_folder_with_anything_in_it_is_left_alone(tmp_path: Path) -> None:
    """NW2: Somebody's work may be in it."""
    (tmp_path / "quay").mkdir()
    (tmp_path / "quay" / "mine.txt").write_text("mine")

    done = bothsides(tmp_path, "new", "quay", *flags())

    assert (done.returncode, "holds something already" in done.stderr) == (BAD_USE, True)
    assert [path.name for path in (tmp_path / "quay").iterdir()] == ["mine.txt"]


def test_an_empty_folder_is_filled_and_one_whose_parent_is_missing_is_refused(
    tmp_path: Path,
) -> None:
    """An editor may have made the folder already; a misspelt path makes no folders."""
    (tmp_path / "quay").mkdir()

    assert bothsides(tmp_path, "new", "quay", *flags()).returncode == GOOD
    assert bothsides(tmp_path, "new", "kway/quay", *flags()).returncode == BAD_USE
    assert [path.name for path in tmp_path.iterdir()] == ["quay"]


def test_a_person_is_asked_what_the_flags_leave_open(tmp_path: Path) -> None:
    """A wrong answer is told at once and asked again; an empty one takes what is suggested."""
    answers = ["left", "left", "right", "", "", "7", "8", "M30", "8.8", "420 mm", "120 mm"]
    answers += ["40 mm", "", "", "0.12", "", "3 kN.m", "", "", "2026-01-01", "2199-01-01", "", ""]
    master, slave = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-m", "coordinator.cli.app", "new", "quay"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdin=slave,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as asked:
        os.close(slave)
        os.write(master, ("\n".join([*answers, "Two arms on our quay"]) + "\n").encode())
        told, _ = asked.communicate(timeout=120)
    os.close(master)

    assert asked.returncode == GOOD, told
    assert "must be a name of its own" in told
    assert "must be even, from 4 to 32" in told
    assert "[46 mm]" in told  # ISO 272 has 46 mm for M30.
    cell = (tmp_path / "quay" / "cells" / "quay.yaml").read_text(encoding="utf-8")
    assert 'text: "Two arms on our quay"' in cell
