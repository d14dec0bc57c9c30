"""What scripts and build servers are told of a proof that is broken or cut."""

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from coordinator.cli.asked import CheckAsked
from coordinator.cli.check.check_verb import check_files
from coordinator.cli.output import Exit, Output
from coordinator.prove import PROPERTIES
from tests.support.altered_files import copied
from tests.unit.coordinator.sequence.test_sequence_sarif import LOG

PROMISE = """
properties:
  one_at_a_time:
    text: the arms park one after the other
    never: [{under_way: park, lane: fore}, {under_way: park, lane: aft}]
"""


@pytest.fixture
def broken(tmp_path: Path) -> Path:
    """Return a sequence that does not keep what it promises."""
    path = copied(tmp_path) / "park.yaml"
    path.write_text(path.read_text(encoding="utf-8") + PROMISE, encoding="utf-8")
    return path


def _run_of(capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    document = json.loads(capsys.readouterr().out)
    jsonschema.validate(document, LOG)
    (run,) = document["runs"]
    return run  # type: ignore[no-any-return]  # json gives Any


def test_a_broken_property_is_a_result_at_the_step_that_breaks_it(
    broken: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A build server that sees no result lets the file through."""
    ended = check_files(Output.of(True), [broken], CheckAsked(causes=0, sarif=True))

    run = _run_of(capsys)
    (result,) = run["results"]
    place = result["locations"][0]["physicalLocation"]
    line = broken.read_text(encoding="utf-8").splitlines()[place["region"]["startLine"] - 1]
    steps = result["codeFlows"][0]["threadFlows"][0]["locations"]
    assert ended is Exit.FINDINGS
    assert result["ruleId"] == "properties.one_at_a_time"
    assert run["tool"]["driver"]["rules"][result["ruleIndex"]]["id"] == result["ruleId"]
    assert "fore is under way with park" in result["message"]["text"]
    assert place["artifactLocation"]["uri"].endswith("park.yaml")
    assert line[place["region"]["startColumn"] - 1 :].startswith("do: park")
    assert "is under way with park" in steps[-1]["location"]["message"]["text"]
    assert run["invocations"] == [{"executionSuccessful": True, "toolExecutionNotifications": []}]


def test_a_cut_proof_is_no_success_and_says_of_which_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing found in a part of the states is not nothing wrong."""
    path = copied(tmp_path) / "park.yaml"

    ended = check_files(Output.of(True), [path], CheckAsked(states_max=10, sarif=True))

    run = _run_of(capsys)
    (invocation,) = run["invocations"]
    (told,) = invocation["toolExecutionNotifications"]
    uri = told["locations"][0]["physicalLocation"]["artifactLocation"]["uri"]
    assert ended is Exit.FINDINGS
    assert (run["results"], invocation["executionSuccessful"]) == ([], False)
    assert (told["level"], told["descriptor"]["id"]) == ("error", "not_proved")
    assert uri.endswith("park.yaml")


def test_a_proof_that_holds_lists_what_was_judged(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What was broken before is closed only if it is told that it was judged again."""
    path = copied(tmp_path) / "park.yaml"

    ended = check_files(Output.of(True), [path], CheckAsked(causes=0, sarif=True))

    run = _run_of(capsys)
    assert ended is Exit.GOOD
    assert run["results"] == []
    assert set(PROPERTIES) <= {one["id"] for one in run["tool"]["driver"]["rules"]}


def test_a_broken_file_is_not_good_and_its_steps_have_places(
    broken: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A script takes its list of good files as it stands."""
    good = broken.parent / "change_tools.yaml"

    check_files(Output.of(True), [broken, good], CheckAsked(causes=0))

    told = json.loads(capsys.readouterr().out)
    (violation,) = told["proofs"][0]["violations"]
    assert (told["ok"], told["good"]) == (False, [str(good)])
    assert violation["file"] == str(broken)
    assert [one["lane"] for one in violation["broken_by"]] == ["fore", "aft"]
    assert all(one["line"] > 1 for one in violation["broken_by"])
    assert len(violation["steps"]) == len(violation["path"])


def test_no_more_states_are_decided_than_can_come_up(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Counts that do not add up make a reader doubt the rest."""
    path = copied(tmp_path) / "park.yaml"

    check_files(Output.of(True), [path], CheckAsked(causes=1))

    told = capsys.readouterr()
    (proof,) = json.loads(told.out)["proofs"]
    running = proof["states"] - proof["ending"]
    assert proof["states"] > proof["stands_for"] == running > 0 < proof["ending"]
    said = f"{proof['stands_for']} states can come up before an early end, all of them decided"
    assert said in told.err


def test_a_cut_proof_counts_only_what_it_found(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It has seen no depth, and what its states stand for is not known."""
    path = copied(tmp_path) / "change_tools.yaml"

    check_files(Output.of(True), [path], CheckAsked(states_max=100))

    told = capsys.readouterr()
    (proof,) = json.loads(told.out)["proofs"]
    assert (proof["stands_for"], proof["depth"], proof["complete"]) == (None, None, False)
    assert f"cut at 100 states: {proof['states']} had been found" in told.err
    assert "depth" not in told.err
