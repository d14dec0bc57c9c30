"""What a rehearsal tells an author who stands before his first mistake."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from coordinator.cli.app import app
from tests.support.sequence_files import SEQUENCES, write_sequence

BAD_USE, HELD = 2, 3


@pytest.mark.parametrize("verb", ["dryrun", "run"])
@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("spinner", "driver", "the simulated arms know no tool 'driver'"),
        ("change_tool", "swap_tool", "the simulated arms know no action 'swap_tool'"),
    ],
)
def test_what_simulated_arms_do_not_know_is_told_before_they_start(
    tmp_path: Path, verb: str, old: str, new: str, told: str
) -> None:
    """A cell may describe any tool; a refusal in the middle of a run would not say why."""
    body = "lanes: {fore: [{do: change_tool, with: {tool: spinner}}]}\n"
    path = write_sequence(tmp_path, body.replace(old, new))
    cell = tmp_path / "cells" / "sill_point.yaml"
    cell.write_text(cell.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")

    result = CliRunner().invoke(app, [verb, str(path), "--out", str(tmp_path / "out")])

    assert (result.exit_code, told in result.output) == (BAD_USE, True)
    assert not (tmp_path / "out").exists()


def test_a_point_that_nobody_released_is_named_with_how_to_answer_it() -> None:
    """A rehearsal that ends held for want of an answer looks like a mistake of the sequence."""
    result = CliRunner().invoke(app, ["dryrun", str(SEQUENCES / "replace_bolt.yaml")])

    assert result.exit_code == HELD
    assert "unanswered: new_bolt_in_bin" in result.output
    assert "{prompt: new_bolt_in_bin, answer: release, by: mate}" in result.output
