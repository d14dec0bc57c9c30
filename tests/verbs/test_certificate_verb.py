"""The verb `records certificate`: what a run's journal adds to its records."""

import contextlib
from pathlib import Path

from typer.testing import CliRunner

from coordinator.cli.app import app
from coordinator.core.events import OverrideSet
from coordinator.records.journal import Journal
from tests.support.short_sequence import write_short_sequence


def test_what_was_set_aside_in_a_run_stands_on_its_certificate(tmp_path: Path) -> None:
    """Whoever accepts the joint must see it, with who and why."""
    sequence, out = write_short_sequence(tmp_path / "files"), tmp_path / "out"
    CliRunner().invoke(app, ["dryrun", str(sequence), "--out", str(out)])
    (path,) = out.glob("*/journal.log")
    with contextlib.closing(Journal.take_up(path)) as journal:
        journal.append(OverrideSet(10**9, 3, "the mate", "the gauge sticks", 2 * 10**9))
        journal.commit()
    made = tmp_path / "certificate.html"

    words = ["records", "certificate", path.parent.name, "--file", str(made), "--out", str(out)]
    result = CliRunner().invoke(app, words)

    assert result.exit_code in (0, 1), result.stderr
    text = made.read_text(encoding="utf-8")
    assert "the mate asked to set supply_low aside: the gauge sticks" in text
