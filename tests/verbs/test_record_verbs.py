"""What one rehearsal leaves, asked by every verb of `records`, and its certificate."""

import hashlib
import json
import re
import shutil
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
from typer.testing import CliRunner

from coordinator.cli.app import app
from coordinator.records.store import RecordStore
from tests.support.sequence_files import SEQUENCES

STRICT = SEQUENCES / "windows" / "strict.yaml"


def ask(*words: object) -> tuple[int, Any]:
    result = CliRunner().invoke(app, [str(word) for word in words] + ["--json"])
    return result.exit_code, json.loads(result.stdout)


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("rehearsed")
    code, _ = ask("dryrun", SEQUENCES / "makeup_8.yaml", "--out", folder)
    assert code == 0
    return folder


def run_of(out: Path) -> str:
    (folder,) = [one for one in out.iterdir() if one.is_dir()]
    return folder.name


def test_filters_leave_what_fits_and_only_that(out: Path) -> None:
    """Judged by the whole list, filtered by hand."""
    _, whole = ask("records", "list", "--out", out)
    _, found = ask("records", "list", "--out", out, "--side", "fore", "--kind", "pull")
    _, none = ask("records", "list", "--out", out, "--since", "2000-01-01")
    _, real = ask("records", "list", "--out", out, "--real")

    fits = [one for one in whole["records"] if (one["side"], one["kind"]) == ("fore", "pull")]
    assert found["records"] == fits
    assert len(fits) == 12
    assert (none["records"], real["records"]) == ([], [])


def test_an_export_is_refused_by_its_ending_before_anything_is_written(
    out: Path, tmp_path: Path
) -> None:
    """A typing error must not leave a file that looks like data."""
    code, said = ask("records", "export", tmp_path / "x.xls", "--out", out)

    assert (code, said["ok"], list(tmp_path.iterdir())) == (2, False, [])


def test_an_emptied_store_beside_the_folder_of_a_run_is_a_finding(
    out: Path, tmp_path: Path
) -> None:
    """The chain of no rows is whole, and says nothing about a run that was there."""
    shutil.copytree(out / run_of(out), tmp_path / run_of(out))
    RecordStore(f"sqlite:///{tmp_path / 'records.sqlite'}").close()

    code, said = ask("records", "verify", "--out", tmp_path)

    assert (code, said["ok"], said["rows"]) == (1, False, 0)
    assert f"run {run_of(out)} has a journal" in said["finding"]


def test_judging_again_keeps_the_first_verdict_and_tells_what_differs(
    out: Path, tmp_path: Path
) -> None:
    """RC5: windows that nothing can keep reject every pull, beside the first verdict."""
    windows = tmp_path / "hard.yaml"
    windows.write_text(
        "windows: hard\ntolerance: 5 %\nkinds:\n  pull: {angle: [700 deg, 720 deg]}\n"
    )

    code, said = ask("records", "re-judge", windows, "--out", out, "--by", "mate")

    assert (code, said["differ"]) == (1, 24)
    _, listed = ask("records", "list", "--out", out, "--verdict", "accepted", "--kind", "pull")
    assert len(listed["records"]) == 24
    _, verified = ask("records", "verify", "--out", out)
    assert verified["ok"]


def test_the_shipped_windows_accept_what_the_joint_accepts(out: Path) -> None:
    """A shipped example that rejects a good joint would teach nobody."""
    code, said = ask("records", "re-judge", STRICT, "--out", out)

    assert (code, said["differ"]) == (0, 0)


def test_windows_with_a_mistake_are_refused_with_its_place(out: Path, tmp_path: Path) -> None:
    """As for every other file: file, line and column."""
    windows = tmp_path / "bad.yaml"
    windows.write_text("windows: bad\ntolerance: 5\n")

    code, said = ask("records", "re-judge", windows, "--out", out)

    assert (code, said["findings"][0]["line"]) == (1, 2)


def test_look_back_names_the_joints_of_a_doubtful_tool(out: Path) -> None:
    """The question of the day on which a calibration fails."""
    code, said = ask("records", "look-back", "aft/wrench", "--since", "1970-01-01", "--out", out)
    later, none = ask("records", "look-back", "aft/wrench", "--since", "2020-01-01", "--out", out)
    bad, _ = ask("records", "look-back", "wrench", "--since", "2020-01-01", "--out", out)

    (touched,) = said["touched"]
    assert (code, touched["joint"], touched["bolts"]) == (1, "airlift_16in_8", [5, 6, 7, 8])
    assert touched["due"] == "2027-08-11"
    assert (later, none["touched"], bad) == (0, [], 2)


def test_a_certificate_is_the_same_each_time_and_says_what_the_records_say(
    out: Path, tmp_path: Path
) -> None:
    """RC9: two prints of one joint must not differ; every bolt stands on it."""
    digests, text = [], ""
    for name in ("a.pdf", "b.pdf"):
        code, _ = ask(
            "records", "certificate", run_of(out), "--file", tmp_path / name, "--out", out
        )
        assert code == 0
        digests.append(hashlib.sha256((tmp_path / name).read_bytes()).hexdigest())
    document = pypdfium2.PdfDocument(tmp_path / "a.pdf")
    pages = [page.get_textpage().get_text_range() for page in document]
    text = "\n".join(pages)

    assert digests[0] == digests[1]
    for number, page in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in page
        assert "SIMULATED" in page
    _, listed = ask("records", "list", "--out", out)
    for one in listed["records"]:
        if one["target_nm"]:
            assert f"{one['torque_nm']:.0f}" in text
    for word in ("2026-08-11", "2027-08-11", "cells/sill_point.yaml", "Witnessed by", "WARNING"):
        assert word in text
    _, verified = ask("records", "verify", "--out", out)
    assert verified["head"] in text.replace("\r\n", "").replace("\n", "")


def test_the_certificate_as_html_fetches_nothing_and_names_every_bolt(
    out: Path, tmp_path: Path
) -> None:
    """It is read years later, where no other server answers."""
    target = tmp_path / "c.html"

    ask("records", "certificate", run_of(out), "--file", target, "--out", out)

    text = target.read_text()
    assert re.findall(r'(?:src|href)="', text) == []
    assert all(f"Bolt {bolt}: torque" in text for bolt in range(1, 9))


def test_a_certificate_of_an_unknown_run_is_refused_with_those_there_are(
    out: Path, tmp_path: Path
) -> None:
    """Nothing is written."""
    code, said = ask("records", "certificate", "x", "--file", tmp_path / "c.pdf", "--out", out)

    assert code == 2
    assert run_of(out) in said["error"]
    assert list(tmp_path.iterdir()) == []
