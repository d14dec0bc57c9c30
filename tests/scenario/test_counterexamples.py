"""What is left of a counterexample: a timeline on the terminal, a picture, a case that runs."""

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest

from coordinator.cli.asked import CheckAsked
from coordinator.cli.check.check_verb import check_files
from coordinator.cli.output import Exit, Output
from coordinator.prove import Limits, explore
from coordinator.rehearse.counterexamples import Watch, leave
from coordinator.rehearse.fault_table import Mode, cause_of
from coordinator.rehearse.rehearsal import rehearse
from coordinator.rehearse.simulated import BOLT_CATALOGUE
from coordinator.sequence import load, read_case
from sim_arms.causes import CATALOGUE
from tests.support.altered_files import copied
from tests.support.held_prompts import hold_alone
from tests.support.sequence_files import SEQUENCES

PROMISES = """
properties:
  one_at_a_time:
    text: the arms park one after the other
    never: [{under_way: park, lane: fore}, {under_way: park, lane: aft}]
  nobody_near:
    text: nobody lifts while somebody stands inside the line
    never: [{under_way: lift}, {signal: floor_clear, is: bad}]
  lifted_once:
    text: fore lifts once
    at_most: {times: 1, of: {begins: lift, lane: fore}}
"""
NAMES = ("one_at_a_time", "nobody_near", "lifted_once")


@pytest.fixture(scope="module")
def left(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of a sequence that breaks what it promises, with what was left of it."""
    folder = copied(tmp_path_factory.mktemp("broken"))
    path = folder / "park.yaml"
    path.write_text(path.read_text(encoding="utf-8") + PROMISES, encoding="utf-8")
    output = Output.of(True)
    with (folder / "told.txt").open("w", encoding="utf-8") as told:
        output.people.file = told
        assert (
            check_files(output, [path], CheckAsked(causes=1, out=folder / "out")) is Exit.FINDINGS
        )
    return folder


@pytest.mark.parametrize("name", NAMES)
def test_the_case_of_a_counterexample_breaks_the_same_property_when_it_is_rehearsed(
    left: Path, name: str
) -> None:
    """Physics decides: what the walk found is no artefact of what stands for the arms."""
    loaded = load(left / "park.yaml")
    watch = Watch(loaded)

    case = read_case(left / "out" / f"park_properties_{name}.yaml", BOLT_CATALOGUE)
    rehearse(loaded, seed=1, case=case, listeners=(watch,))

    assert f"properties.{name}" in watch.broken


def test_a_rehearsal_without_the_causes_breaks_only_what_needs_none(left: Path) -> None:
    """A watch that cries always would show anything."""
    loaded = load(left / "park.yaml")
    watch = Watch(loaded)

    rehearse(loaded, seed=1, listeners=(watch,))

    assert list(watch.broken) == ["properties.one_at_a_time"]


@pytest.mark.parametrize("name", NAMES)
def test_the_picture_shows_every_side_and_what_is_broken(left: Path, name: str) -> None:
    """It is read by whoever was not there."""
    text = (left / "out" / f"park_properties_{name}.svg").read_text(encoding="utf-8")

    words = [one.text or "" for one in ElementTree.fromstring(text).iter()]
    assert {"fore", "aft", "hoist", "floor and people"} <= set(words)
    assert f"park: properties.{name} is broken" in words


def test_the_timeline_of_the_terminal_names_file_and_line_of_each_step(left: Path) -> None:
    """An author looks for the line to mend."""
    told = (left / "told.txt").read_text(encoding="utf-8")
    line = (left / "park.yaml").read_text(encoding="utf-8").splitlines().index("    - do: lift")

    assert f"park.yaml:{line + 1}" in told
    assert "! floor_clear turns bad" in told


def test_a_document_tells_scripts_where_picture_and_case_are(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With --json nobody should have to read people's text."""
    path = copied(tmp_path) / "park.yaml"
    short = PROMISES[: PROMISES.index("  nobody_near")]
    path.write_text(path.read_text(encoding="utf-8") + short, encoding="utf-8")

    check_files(Output.of(True), [path], CheckAsked(causes=0, out=tmp_path / "out"))

    (proof,) = json.loads(capsys.readouterr().out)["proofs"]
    (broken,) = proof["violations"]
    assert broken["shown"]
    assert Path(broken["picture"]).exists()
    assert Path(broken["case"]).exists()


def test_cause_of_the_first_step_does_not_begin_before_the_run() -> None:
    """A case whose time lies below zero would be refused by whoever reads it."""
    plan = load(SEQUENCES / "park.yaml").plan
    slow = Mode(CATALOGUE["slow_arm"], plan.nodes[0], "fore", 200_000, 9_000_000)

    assert cause_of(slow).at_us == 0


def test_two_files_of_one_name_leave_pictures_and_cases_of_their_own(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A copy under another file name keeps the name of its sequence; neither may hide the other."""
    first = copied(tmp_path) / "park.yaml"
    short = PROMISES[: PROMISES.index("  nobody_near")]
    first.write_text(first.read_text(encoding="utf-8") + short, encoding="utf-8")
    second = first.with_name("park_copy.yaml")
    second.write_text(first.read_text(encoding="utf-8"), encoding="utf-8")

    check_files(Output.of(True), [first, second], CheckAsked(causes=0, out=tmp_path / "out"))

    told = capsys.readouterr()
    left = [one for proof in json.loads(told.out)["proofs"] for one in proof["violations"]]
    names = [Path(one[kind]).name for one in left for kind in ("picture", "case")]
    assert len(set(names)) == 4
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == sorted(names)
    cases = [read_case(Path(one["case"]), BOLT_CATALOGUE).case for one in left]
    assert len(set(cases)) == 2
    assert "in place of an earlier one" not in told.err


def test_what_an_earlier_check_left_is_not_replaced_in_silence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Somebody may still be looking at the picture of yesterday."""
    path = copied(tmp_path) / "park.yaml"
    short = PROMISES[: PROMISES.index("  nobody_near")]
    path.write_text(path.read_text(encoding="utf-8") + short, encoding="utf-8")

    for _ in range(2):
        check_files(Output.of(False), [path], CheckAsked(causes=0, out=tmp_path / "out"))

    assert capsys.readouterr().out.count("in place of an earlier one") == 2


def test_a_step_that_fails_twice_fails_twice_when_the_case_is_rehearsed(tmp_path: Path) -> None:
    """Two equal causes of one moment are both over before the tool is changed once more."""
    loaded = hold_alone(load(SEQUENCES / "change_tools.yaml"))
    (broken,) = explore(loaded.plan, Limits(2)).violations

    left = leave(tmp_path, loaded, broken, "", set())

    assert left.case is not None
    (cause,) = read_case(left.case, BOLT_CATALOGUE).causes
    assert (broken.property, cause.cause) == ("way_to_complete", "tool_lock_fails")
    assert (cause.times, cause.for_us) == (2, 40_000_000)
    assert left.is_shown, left.words
