"""The verb `draw`: where the picture goes, and what is not overwritten."""

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest
from typer.testing import CliRunner

from coordinator.cli.app import app
from tests.support.sequence_files import SEQUENCES

MAKEUP = SEQUENCES / "makeup_6.yaml"
GOOD, BAD_USE = 0, 2


def test_without_out_the_picture_lies_here_under_the_name_of_the_sequence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The picture of a shipped sequence belongs to whoever draws it, not beside the sequence."""
    monkeypatch.chdir(tmp_path)

    svg = CliRunner().invoke(app, ["draw", str(MAKEUP)])
    mermaid = CliRunner().invoke(app, ["draw", str(MAKEUP), "--mermaid", "--unrolled", "--json"])

    assert (svg.exit_code, mermaid.exit_code) == (GOOD, GOOD)
    assert "makeup_6.svg" in svg.stdout
    assert ElementTree.parse(tmp_path / "makeup_6.svg").getroot().tag.endswith("svg")
    told = json.loads(mermaid.stdout)
    assert (told["form"], told["unrolled"], told["written"]) == ("mermaid", True, "makeup_6.mmd")
    assert (tmp_path / "makeup_6.mmd").read_text(encoding="utf-8").startswith("flowchart TB\n")


def test_a_dash_sends_the_picture_to_stdout_and_a_joint_replaces_the_one_named() -> None:
    """Another program can take it from there, and one sequence file serves many joints."""
    joint = SEQUENCES / "joints" / "crossover_20in_12.yaml"

    plain = CliRunner().invoke(app, ["draw", str(MAKEUP), "--out", "-", "--joint", str(joint)])
    data = CliRunner().invoke(app, ["draw", str(MAKEUP), "--out", "-", "--json"])

    assert "joint crossover 20in 12: 12 bolts" in plain.stdout
    assert json.loads(data.stdout)["drawing"].startswith("<svg")


@pytest.mark.parametrize("name", ["makeup_6.yaml", "picture", "picture.mmd"])
def test_a_picture_is_never_written_over_something_else(tmp_path: Path, name: str) -> None:
    """A slip of the hand must not cost somebody a sequence."""
    target = tmp_path / name
    target.write_text("mine", encoding="utf-8")

    result = CliRunner().invoke(app, ["draw", str(MAKEUP), "--out", str(target), "--json"])

    assert result.exit_code == BAD_USE
    assert "must end in .svg" in json.loads(result.stdout)["error"]
    assert target.read_text(encoding="utf-8") == "mine"


def test_a_picture_that_cannot_be_written_is_bad_use(tmp_path: Path) -> None:
    """Said in a line, not in a traceback."""
    target = tmp_path / "none" / "picture.svg"

    result = CliRunner().invoke(app, ["draw", str(MAKEUP), "--out", str(target), "--json"])

    assert result.exit_code == BAD_USE
    assert str(target) in json.loads(result.stdout)["error"]
