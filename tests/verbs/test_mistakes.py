"""What newcomers get wrong at the verbs is told once, clearly, and soon."""

import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from coordinator.cli.app import app
from tests.support.sequence_files import SEQUENCES

MAKEUP = SEQUENCES / "makeup_8.yaml"
JOINT = SEQUENCES / "joints" / "airlift_16in_8.yaml"
CELL = SEQUENCES / "cells" / "sill_point.yaml"
CASE = SEQUENCES / "cases" / "burr_on_bolt_3.yaml"
FINDINGS, HELD = 1, 3


def call(*words: str) -> Result:
    """Call the program."""
    return CliRunner().invoke(app, list(words))


@pytest.mark.parametrize(
    "words",
    [
        ["dryrun", str(JOINT)],
        ["joint", str(MAKEUP)],
        ["dryrun", str(MAKEUP), "--joint", str(CELL)],
        ["dryrun", str(MAKEUP), "--case", str(MAKEUP)],
        ["dryrun", str(MAKEUP), "--answer", str(CASE)],
    ],
    ids=lambda words: Path(words[-1]).stem + " as " + words[-2].strip("-"),
)
def test_a_file_of_the_wrong_kind_is_told_once(words: list[str]) -> None:
    """Twenty unknown keys would not tell that two files were mixed up."""
    result = call(*words, "--json")
    findings = json.loads(result.stdout)["findings"]

    assert result.exit_code == FINDINGS
    assert [one["code"] for one in findings] == ["SEQ006"]
    assert re.search(r"file is a \w+, by its key '\w+', must be a ", result.stderr)


def test_a_start_that_is_refused_for_good_ends_the_rehearsal_with_its_reason(
    tmp_path: Path,
) -> None:
    """Half a day of virtual time and one line a second would tell a person nothing."""
    case = tmp_path / "low.yaml"
    case.write_text("case: low\ncauses: [{cause: supply_low}]\n")

    result = call("dryrun", str(MAKEUP), "--case", str(case), "--json")
    document = json.loads(result.stdout)

    assert result.exit_code == HELD
    assert document["ended"] == "idle"
    assert "the hydraulic supply is not up" in document["reason"]
    assert len(document["notices"]) == 1


def test_the_version_is_told() -> None:
    """Whoever reports a fault is asked for it first."""
    assert re.fullmatch(r"bothsides \d+\.\d+\.\d+\n", call("--version").stdout)
