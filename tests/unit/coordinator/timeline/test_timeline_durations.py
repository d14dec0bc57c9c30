"""How long steps take, over runs: counted by hand from intervals that are written down here."""

import json
from pathlib import Path

from typer.testing import CliRunner

from coordinator.cli.app import app
from coordinator.timeline.build import Interval, StepDuration, Timeline, durations
from tests.support.short_sequence import write_short_sequence


def a_run(*intervals: Interval) -> Timeline:
    return Timeline("a run", ("fore", "aft"), intervals, (), 0)


def test_a_step_is_counted_over_bolts_rounds_and_runs_and_by_side() -> None:
    """Which bolt it was says nothing about how long a pull takes; which arm does."""
    first = a_run(
        Interval(0, "work", "pull bolt 1 round 1", 0, 8_000_000),
        Interval(0, "wait", "pulled", 8_000_000, 9_000_000, charged_to="aft"),
        Interval(0, "work", "pull bolt 3 round 2", 9_000_000, 19_000_000),
        Interval(1, "work", "pull bolt 5 round 1", 0, 4_000_000),
        Interval(0, "work", "park #2", 19_000_000, 20_000_000),
    )
    second = a_run(
        Interval(0, "work", "pull bolt 1 round 1", 0, 9_000_000),
        Interval(0, "recover", "pull bolt 1 round 1", 9_000_000, 30_000_000),
    )

    assert durations((first, second)) == (
        StepDuration("aft", "pull", 1, 4.0, 4.0, 4.0),
        StepDuration("fore", "pull", 3, 8.0, 9.0, 10.0),
        StepDuration("fore", "park", 1, 1.0, 1.0, 1.0),
    )


def test_the_verb_reads_the_journals_of_a_folder(tmp_path: Path) -> None:
    """What a rehearsal leaves is enough; a database has no journals and is told so."""
    sequence, out = write_short_sequence(tmp_path / "files"), tmp_path / "out"
    CliRunner().invoke(app, ["dryrun", str(sequence), "--out", str(out)])

    told = CliRunner().invoke(app, ["records", "trends", "--steps", "--out", str(out), "--json"])
    refused = CliRunner().invoke(app, ["records", "trends", "--steps", "--out", "sqlite:///x"])

    assert told.exit_code == 0
    steps = json.loads(told.stdout)["steps"]
    assert {"side": "fore", "step": "pull", "count": 1} in [
        {key: one[key] for key in ("side", "step", "count")} for one in steps
    ]
    assert all(0 < one["least_s"] <= one["median_s"] <= one["most_s"] for one in steps)
    assert refused.exit_code == 2
