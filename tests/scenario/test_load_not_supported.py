"""A joint is accepted only if turn and slope of every bolt tell the load of the others."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from coordinator.cli.app import app
from tests.support.sequence_files import SEQUENCES

CASE = """case: rubs_more
text: one bolt of the lot was not greased
seed: 1
causes:
  - {{cause: friction_high, bolt: 3, factor: {factor}}}
"""


def rehearsed(tmp_path: Path, factor: float) -> tuple[int, list[str]]:
    """Rehearse the make-up of eight with bolt 3 spoilt; exit code and open points."""
    case = tmp_path / "case.yaml"
    case.write_text(CASE.format(factor=factor), encoding="utf-8")
    words = ["dryrun", str(SEQUENCES / "makeup_8.yaml"), "--case", str(case), "--json"]
    done = CliRunner().invoke(app, [*words, "--out", str(tmp_path / "out")])
    return done.exit_code, json.loads(done.stdout)["open_points"]


def test_a_bolt_at_little_more_than_half_its_load_is_not_accepted(tmp_path: Path) -> None:
    """RC12: all 64 records were accepted, each at its torque; its load was 55 % of the others'."""
    code, (point,) = rehearsed(tmp_path, 1.8)

    assert code == 1
    assert point.startswith("bolt 3, load not supported: turned 26°, the others 41 to 45°: about 5")


@pytest.mark.parametrize(("factor", "points"), [(1.0, 0), (1.5, 1), (0.6, 1)])
def test_friction_of_one_bolt_is_seen_from_both_sides(
    tmp_path: Path, factor: float, points: int
) -> None:
    """RC12: too much load is as little supported as too little; a good joint is accepted."""
    code, found = rehearsed(tmp_path, factor)

    assert (code, len(found)) == (min(points, 1), points)


def test_the_certificate_says_so_bolt_by_bolt_and_what_it_cannot_see(tmp_path: Path) -> None:
    """RC12: the verdict of the joint, the bolt, and the honest line."""
    rehearsed(tmp_path, 1.8)
    file, out = tmp_path / "certificate.html", str(tmp_path / "out")
    runner = CliRunner()
    listed = runner.invoke(app, ["records", "list", "--out", out, "--json"])
    run = json.loads(listed.stdout)["records"][0]["run"]
    words = ["records", "certificate", run, "--out", out, "--file", str(file)]

    issued = runner.invoke(app, words)

    text = file.read_text(encoding="utf-8")
    assert issued.exit_code == 1
    assert "not accepted" in text
    assert "bolt 3, load not supported" in text
    assert "what this evidence cannot see" in text
