"""What a check refuses before it begins."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from coordinator.cli.app import app
from coordinator.cli.asked import CheckAsked
from coordinator.cli.check.check_verb import check_files, refusals
from coordinator.cli.output import Exit, Output
from tests.support.sequence_files import SEQUENCES

PARK = SEQUENCES / "park.yaml"


@pytest.mark.parametrize("place", ["file", "file/below", "/proc/nope"])
def test_a_folder_that_cannot_be_written_to_is_refused_before_anything_is_judged(
    place: str, tmp_path: Path
) -> None:
    """A proof takes minutes; what it leaves must have a place before it begins."""
    (tmp_path / "file").write_text("kept", encoding="utf-8")
    folder = Path(place) if place.startswith("/") else tmp_path / place

    told = CliRunner().invoke(app, ["check", "--out", str(folder), str(PARK)])

    assert told.exit_code == Exit.BAD_USE
    assert "must be a folder that can be written to" in told.output
    assert "keeps every rule" not in told.output
    assert (tmp_path / "file").read_text(encoding="utf-8") == "kept"


def test_asking_whether_a_folder_can_be_written_to_leaves_none(tmp_path: Path) -> None:
    """Where nothing is broken, nothing is left."""
    assert list(refusals(CheckAsked(out=tmp_path / "a" / "b"))) == []
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "given",
    [["--out", "left"], ["--states", "100"], ["--causes", "1"]],
)
def test_what_does_nothing_without_a_proof_is_refused_beside_quick(given: list[str]) -> None:
    """Who bounds a proof thinks that there is one."""
    told = CliRunner().invoke(app, ["check", "--quick", *given, str(PARK)])

    assert told.exit_code == Exit.BAD_USE
    assert f"{given[0]} " in told.output
    assert "--quick makes none" in told.output


def test_a_refusal_is_a_document_for_scripts(capsys: pytest.CaptureFixture[str]) -> None:
    """With --json nobody should have to read people's text."""
    ended = check_files(Output.of(True), [PARK], CheckAsked(quick=True, states_max=100))

    told = json.loads(capsys.readouterr().out)
    assert ended is Exit.BAD_USE
    assert (told["ok"], "--states" in told["error"]) == (False, True)


def test_leaving_out_gives_no_leave(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Nobody takes out an interlock because a proof does without it."""
    asked = CheckAsked(causes=0, leave_out=True)

    check_files(Output.of(False), [PARK], asked)

    assert "is no leave to take it out" in capsys.readouterr().out
