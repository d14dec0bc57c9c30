"""The verb `compare`: exit codes as scripts know them from comparing files, and one document."""

import json
from pathlib import Path
from shutil import copyfile

from typer.testing import CliRunner

from coordinator.cli.app import app
from tests.support.sequence_files import SEQUENCES, write_sequence

SAME, DIFFERENT, BAD_USE = 0, 1, 2
MAKEUP = SEQUENCES / "makeup.yaml"
JOINT = SEQUENCES / "joints" / "airlift_16in_8.yaml"


def test_files_that_mean_the_same_end_with_zero() -> None:
    """A file based on another, with the same joint, is that other one."""
    result = CliRunner().invoke(app, ["compare", str(MAKEUP), str(SEQUENCES / "makeup_8.yaml")])

    assert result.exit_code == SAME
    assert result.stdout.startswith("the same: ")


def test_a_difference_ends_with_one_and_is_given_as_data_with_its_places() -> None:
    """A script shows the step in the file."""
    other = SEQUENCES / "makeup_12.yaml"

    plain = CliRunner().invoke(app, ["compare", str(MAKEUP), str(other)])
    data = CliRunner().invoke(app, ["compare", str(MAKEUP), str(other), "--json"])

    assert (plain.exit_code, data.exit_code) == (DIFFERENT, DIFFERENT)
    told = json.loads(data.stdout)
    assert (told["ok"], told["kind"], told["is_same"]) == (True, "sequence", False)
    assert all(f"  {one['text']}\n" in plain.stdout for one in told["changes"])
    places = [one["now_at"] for one in told["changes"] if "pulled to" in one["text"]]
    (line,) = dict.fromkeys(places)
    written = (SEQUENCES / "makeup.yaml").read_text(encoding="utf-8").splitlines()
    assert written[int(line.removeprefix("makeup.yaml:")) - 1].strip() == "- do: pull"


def test_cells_and_joints_are_compared_too(tmp_path: Path) -> None:
    """What kind of file it is, its first key says."""
    other = tmp_path / "other.yaml"
    copyfile(JOINT, other)
    other.write_text(other.read_text().replace("stress: 52.5 ksi", "stress: 50 ksi"))

    result = CliRunner().invoke(app, ["compare", str(JOINT), str(other)])

    assert result.exit_code == DIFFERENT
    assert "the bolts are now stressed to 344.7 MPa, was 362 MPa" in result.stdout


def test_sequences_are_compared_as_they_would_be_run_on_another_joint(tmp_path: Path) -> None:
    """Beside a joint both are that joint's; for a cell or joint it means nothing and is refused."""
    other = SEQUENCES / "makeup_12.yaml"
    given = ["--joint", str(JOINT)]

    same = CliRunner().invoke(app, ["compare", str(MAKEUP), str(other), *given])
    refused = CliRunner().invoke(app, ["compare", str(JOINT), str(JOINT), *given, "--json"])

    assert (same.exit_code, same.stdout.splitlines()[0][:10]) == (SAME, "the same: ")
    assert refused.exit_code == BAD_USE
    assert "leave it out" in json.loads(refused.stdout)["error"]


def test_two_files_of_different_kinds_are_bad_use() -> None:
    """A cell is not a changed sequence."""
    result = CliRunner().invoke(app, ["compare", str(MAKEUP), str(JOINT), "--json"])

    assert result.exit_code == BAD_USE
    assert "must be two files of one kind" in json.loads(result.stdout)["error"]


def test_a_file_with_findings_cannot_be_compared_and_is_not_called_different(
    tmp_path: Path,
) -> None:
    """One means different, so what is wrong with a file must be something else."""
    bad = write_sequence(tmp_path, "lanes:\n  fore:\n    - {do: parc}\n")

    result = CliRunner().invoke(app, ["compare", str(MAKEUP), str(bad), "--json"])
    missing = CliRunner().invoke(app, ["compare", str(tmp_path / "none.yaml"), str(MAKEUP)])

    assert (result.exit_code, missing.exit_code) == (BAD_USE, BAD_USE)
    assert [one["code"] for one in json.loads(result.stdout)["findings"]] == ["SEQ014"]
    assert "none.yaml:1:1: file cannot be opened" in missing.stderr
