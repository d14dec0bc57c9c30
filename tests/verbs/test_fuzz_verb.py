"""The verb `fuzz`: what it refuses before anything is written, and what it keeps."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from coordinator.campaign.case_file import case_text
from coordinator.campaign.judge import Violation
from coordinator.campaign.running import Outcome
from coordinator.campaign.store import Folder, Head, Row
from coordinator.cli.app import app
from coordinator.rehearse.stage import StageMaker, maker_of
from coordinator.sequence import Case, CaseCause, load
from tests.support.sequence_files import SEQUENCES
from tests.support.short_sequence import write_short_sequence

BROKEN = Outcome("held", violations=(Violation("S1", "release", 5, "a span closes"),))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Write a short sequence."""
    return write_short_sequence(tmp_path / "files")


def fuzz(path: Path, out: Path, *words: str) -> Result:
    return CliRunner().invoke(app, ["fuzz", str(path), "--out", str(out), *words])


def campaign(path: Path, folder: Path, *, seed: int) -> tuple[Folder, StageMaker]:
    """Begin a campaign on a sequence by hand."""
    maker = maker_of(path, load(path))
    kept = Folder(folder)
    kept.begin(Head(maker.sequence, maker.loaded().plan.digest, maker.program, seed))
    return kept, maker


def failing(number: int, *, seed: int) -> Row:
    return Row(number, seed, 0, 1, "", False, 0.01, BROKEN)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--on", "foo"), "--on is 'foo', must be tcp://HOST:PORT"),
        (("--on", ""), "--on is '', must be tcp://HOST:PORT"),
        (("--on", "tcp://127.0.0.1:1"), "--on is 'tcp://127.0.0.1:1'"),
        (("--minutes", "nan"), "'--minutes': it is 'nan', must be greater than or equal to 0.01"),
        (("--cases", "0"), "'--cases': it is '0', must be greater than or equal to 1"),
        (("--workers", "two"), "'--workers': it is 'two', must be a valid integer"),
        (("--seed", "-1"), "'--seed': it is '-1', must be greater than or equal to 0"),
        (("--merge", "{tmp}/none"), "{tmp}/none/campaign.json: is not there"),
        (("--merge", "{tmp}/empty"), "{tmp}/empty/campaign.json: holds no campaign (it is no"),
        (("--merge", "{tmp}/listed"), "holds no campaign (it is no table of names and values)"),
        (("--merge", "{tmp}/other"), "was run on other files"),
        (("--merge", "{tmp}/out"), "the folder of this campaign itself"),
    ],
)
def test_what_cannot_be_run_is_refused_before_anything_is_written(
    tmp_path: Path, path: Path, words: tuple[str, ...], told: str
) -> None:
    """A folder that is left half written would be taken for a campaign."""
    for name, text in (("empty", ""), ("listed", "[1]")):
        (tmp_path / name).mkdir()
        (tmp_path / name / "campaign.json").write_text(text, encoding="utf-8")
    Folder(tmp_path / "other").begin(Head("other.yaml", "d", "p", 1))

    done = fuzz(path, tmp_path / "out", *(one.format(tmp=tmp_path) for one in words))

    assert done.exit_code == 2, done.output
    assert told.format(tmp=tmp_path) in done.output
    assert not (tmp_path / "out").exists()


def test_a_cluster_without_its_library_says_what_to_install(
    tmp_path: Path, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who installed the program alone cannot know what is missing."""
    monkeypatch.setattr("coordinator.extras.find_spec", lambda name: None)

    done = fuzz(path, tmp_path / "out", "--on", "tcp://127.0.0.1:8786")

    assert done.exit_code == 2
    assert "pip install -e '.[cluster]'" in done.output


def test_a_campaign_in_whose_time_nothing_could_be_run_is_not_good(tmp_path: Path) -> None:
    """Whoever reads only the exit code would take it for a clean night."""
    words = ("--minutes", "0.01", "--cases", "2000")  # The two clean days take longer.

    done = fuzz(SEQUENCES / "makeup_8.yaml", tmp_path / "out", *words)

    assert json.loads((tmp_path / "out" / "report.json").read_text())["cases"] == 0
    assert done.exit_code == 1
    assert "NOTHING WAS RUN" in done.output
    assert "No promise was broken" not in (tmp_path / "out" / "report.html").read_text()


def test_a_second_campaign_in_a_folder_is_refused(tmp_path: Path, path: Path) -> None:
    """Every case would be run twice and counted twice."""
    kept, _ = campaign(path, tmp_path / "out", seed=1)

    with kept.locked():
        done = fuzz(path, tmp_path / "out", "--cases", "5")

    assert done.exit_code == 2
    assert "another campaign is running in this folder" in done.output
    assert fuzz(path, tmp_path / "out", "--cases", "5").exit_code == 0


def test_a_failing_case_of_a_campaign_that_is_merged_in_is_still_there(
    tmp_path: Path, path: Path
) -> None:
    """What the other machine found is the very thing that one wants to have."""
    theirs, maker = campaign(path, tmp_path / "theirs", seed=2)
    theirs.add([failing(7, seed=2)])
    case = Case("case_7", seed=2_000, causes=(CaseCause("duplicate", at_us=9, for_us=9),))
    text = case_text(replace(case, found=maker.found()), maker.words())
    (theirs.failures / "s1_at_release_case_7.yaml").write_text(text, encoding="utf-8")

    done = fuzz(path, tmp_path / "out", "--cases", "5", "--merge", str(theirs.path))

    assert done.exit_code == 1
    place = tmp_path / "out" / "failures" / "s1_at_release_case_7.yaml"
    assert place.read_text(encoding="utf-8") == text
    assert f"bothsides replay {place}" in done.output
    assert place.name in (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert str(place) in (tmp_path / "out" / "report.junit.xml").read_text(encoding="utf-8")


def test_a_failing_case_that_was_not_written_down_before_a_stop_is_when_going_on(
    tmp_path: Path, path: Path
) -> None:
    """Who stops a campaign does not wait for every case to be made small."""
    kept, _ = campaign(path, tmp_path / "out", seed=1)
    kept.add([failing(3, seed=1)])

    done = fuzz(path, tmp_path / "out", "--cases", "10")

    assert done.exit_code == 1
    assert [one.number for one in kept.kept()] == [3]
    assert f"bothsides replay {kept.kept()[0].place}" in done.output


def test_a_finished_campaign_run_again_has_its_curve_and_invents_no_rate(
    tmp_path: Path, path: Path
) -> None:
    """Nothing was run this time, so nobody knows how fast."""
    assert fuzz(path, tmp_path / "out", "--cases", "60").exit_code == 0

    assert fuzz(path, tmp_path / "out", "--cases", "60").exit_code == 0

    report = json.loads((tmp_path / "out" / "report.json").read_text(encoding="utf-8"))
    assert report["cases"] == 60
    assert (report["health"]["rate_per_s"], report["health"]["new_per_min"]) == (None, None)
    assert "<polyline" in (tmp_path / "out" / "report.html").read_text(encoding="utf-8")


def test_a_spoilt_line_ends_a_campaign_with_its_place(tmp_path: Path, path: Path) -> None:
    """No traceback, whether it is one's own or one that is merged in."""
    kept, _ = campaign(path, tmp_path / "out", seed=1)
    (kept.path / "results.jsonl").write_text("{spoilt\n", encoding="utf-8")

    own = fuzz(path, kept.path, "--cases", "5")
    merged = fuzz(path, tmp_path / "new", "--cases", "5", "--merge", str(kept.path))

    for done in (own, merged):
        assert done.exit_code == 2
        assert f"{kept.path}/results.jsonl:1:2: the line is no result" in done.output
    assert not (tmp_path / "new").exists()
