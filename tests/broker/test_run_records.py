"""A run that writes its records to a fleet's database, judged by windows of its own."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from coordinator.cli.app import app
from tests.support.postgres import programs, running_server
from tests.support.sequence_files import make_patient
from tests.support.short_sequence import write_short_sequence

pytestmark = [
    pytest.mark.broker,
    pytest.mark.skipif(programs() is None, reason="PostgreSQL is not installed"),
]
WINDOWS = """windows: wide_angle
text: what no pull of the short sequence keeps
tolerance: 5 %
kinds:
  pull: {angle: [80 deg, 90 deg]}
"""


def run(sequence: Path, out: Path, *more: str) -> tuple[int, dict[str, object]]:
    """Run a sequence in a hurry and return its exit code and document."""
    words = ["run", str(sequence), "--speed", "10", "--json", "--out", str(out), *more]
    result = CliRunner().invoke(app, words)
    return result.exit_code, json.loads(result.stdout)


def test_records_of_a_run_go_to_postgresql_and_are_read_from_there(tmp_path: Path) -> None:
    """One database for a fleet; the folder of the run keeps its journal and no second copy."""
    sequence = make_patient(write_short_sequence(tmp_path / "files"))
    with running_server() as address:
        code, told = run(sequence, tmp_path / "out", "--records", address)
        listed = CliRunner().invoke(app, ["records", "list", "--out", address, "--json"])
        verified = CliRunner().invoke(app, ["records", "verify", "--out", address])
        certificate = tmp_path / "certificate.html"
        words = ["records", "certificate", str(told["run"]), "--file", str(certificate)]
        issued = CliRunner().invoke(app, [*words, "--out", address])

    assert told["ended"] == "complete", told["reason"]
    assert (code, told["ended"], told["records"]) == (0, "complete", 2)
    assert [one["run"] for one in json.loads(listed.stdout)["records"]] == [told["run"]] * 2
    assert verified.exit_code == 0
    assert issued.exit_code in (0, 1)
    assert str(told["run"]) in certificate.read_text(encoding="utf-8")
    assert not (tmp_path / "out" / "records.sqlite").exists()


def test_records_of_a_run_are_judged_by_the_windows_that_it_was_given(tmp_path: Path) -> None:
    """What the joint asks for beside its torque is judged at once, and says by which window."""
    sequence = make_patient(write_short_sequence(tmp_path / "files"))
    windows = tmp_path / "windows.yaml"
    windows.write_text(WINDOWS, encoding="utf-8")

    code, told = run(sequence, tmp_path / "out", "--windows", str(windows))
    shown = ["records", "list", "--out", str(tmp_path / "out"), "--json"]
    rows = json.loads(CliRunner().invoke(app, shown).stdout)["records"]

    assert told["ended"] == "complete", told["reason"]
    assert (code, told["ended"]) == (1, "complete")
    pulls = [one for one in rows if one["kind"] == "pull"]
    assert {one["verdict"] for one in pulls} == {"rejected"}
    assert all("angle_below" in one["reasons"] for one in pulls)

    # Decided again from the journal, with the longer waits of a run that is ten times as fast.
    verify = ["records", "verify", "--out", str(tmp_path / "out"), "--json"]
    verified = CliRunner().invoke(app, verify)
    assert (verified.exit_code, json.loads(verified.stdout)["findings"]) == (0, [])
    assert json.loads(verified.stdout)["signed_heads"] == 1
