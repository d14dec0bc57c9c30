"""The verb `check` on files of every kind, its documents and its exits."""

import json
from pathlib import Path
from shutil import copytree

import pytest

from coordinator.cli.asked import CheckAsked
from coordinator.cli.check.check_verb import check_files
from coordinator.cli.output import Exit, Output
from tests.support.sequence_files import SEQUENCES


@pytest.mark.parametrize(
    "name", ["cells/sill_point.yaml", "joints/airlift_16in_8.yaml", "cases/burr_on_bolt_3.yaml"]
)
def test_a_cell_a_joint_and_a_case_are_checked_by_themselves(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """An editor hands over the file that is open, whatever its kind."""
    ended = check_files(Output.of(True), [SEQUENCES / name], CheckAsked(quick=False))

    assert ended is Exit.GOOD
    assert json.loads(capsys.readouterr().out)["findings"] == []


def test_sarif_takes_stdout_for_itself_and_keeps_the_exit(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A build server pipes stdout into a file; people's text would break it."""
    path = SEQUENCES / "broken" / "SEQ014_unknown_action.yaml"

    ended = check_files(Output.of(True), [path], CheckAsked(quick=True, sarif=True))

    told = capsys.readouterr()
    (result,) = json.loads(told.out)["runs"][0]["results"]
    assert ended is Exit.FINDINGS
    assert result["ruleId"] == "SEQ014"
    assert "did you mean 'park'?" in told.err


def test_fix_rewrites_the_file_and_then_judges_it(tmp_path: Path) -> None:
    """Layout first, so that the places that are told are those in the file."""
    copytree(SEQUENCES, tmp_path / "sequences")
    path = tmp_path / "sequences" / "joints" / "airlift_16in_8.yaml"
    shipped = path.read_text(encoding="utf-8")
    path.write_text(shipped.replace("count: 8", "count:    '9'"), encoding="utf-8")

    ended = check_files(Output.of(True), [path], CheckAsked(quick=True, fix=True))

    assert ended is Exit.FINDINGS
    assert path.read_text(encoding="utf-8") == shipped.replace("count: 8", 'count: "9"')


def test_fix_says_which_file_it_had_to_leave(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file left in its old layout is a finding for scripts."""
    copytree(SEQUENCES, tmp_path / "sequences")
    path = tmp_path / "sequences" / "cases" / "a.yaml"
    text = "case: a\ncauses: [{cause: burr,  # old\n  side: fore, bolt: 2}]\n"
    path.write_text(text, encoding="utf-8")

    ended = check_files(Output.of(False), [path], CheckAsked(quick=True, fix=True))

    assert ended is Exit.FINDINGS
    assert path.read_text(encoding="utf-8") == text
    assert "would change a comment; left as it is" in capsys.readouterr().out


def test_the_kind_of_a_file_is_told_by_its_keys_in_whatever_order(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A joint that begins with its text is a joint all the same, and answers are no sequence."""
    joint = tmp_path / "joint.yaml"
    lines = (SEQUENCES / "joints" / "airlift_16in_8.yaml").read_text(encoding="utf-8").splitlines()
    text = next(line for line in lines if line.startswith("text:"))
    joint.write_text("\n".join([text, *(one for one in lines if one != text), ""]))
    answers = tmp_path / "answers.yaml"
    answers.write_text("answers: [{prompt: stuck, answer: again, by: mate}]\n")

    ended = check_files(Output.of(True), [joint, answers], CheckAsked())

    assert ended is Exit.GOOD
    assert len(json.loads(capsys.readouterr().out)["good"]) == 2
