"""What depends on what: each thing left out is found by a rule or a property, or told as idle."""

import json
from pathlib import Path

import pytest

from coordinator.cli.asked import CheckAsked
from coordinator.cli.check.check_verb import check_files
from coordinator.cli.check.leaving_out import leave_out
from coordinator.cli.output import Exit, Output
from coordinator.prove import Limits
from coordinator.sequence import load
from tests.support.altered_files import copied

PROMISED = """
properties:
  set_down_first:
    text: no wrench is seated before the string is set down
    always_before: {first: {ends: set_down_string}, then: {begins: seat_wrench}}
"""


def found_without(path: Path) -> dict[tuple[str, str], tuple[str, ...]]:
    """Return what is found without each thing of a sequence."""
    dropped = leave_out(path, load(path), Limits(0), None)
    return {(one.what, one.name): one.found for one in dropped}


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, str], tuple[str, ...]]:
    """Return what is found without each thing of a break-out that makes a promise."""
    target = copied(tmp_path_factory.mktemp("promised"))
    whole = target / "breakout.yaml"
    text = whole.read_text(encoding="utf-8") + PROMISED
    # Who may work while the string moves is kept from it by the promise alone, and by no rule.
    text = text.replace("[beneath_set_down_length]", "[beneath_set_down_length, hoist_at_work]")
    whole.write_text(text, encoding="utf-8")
    return found_without(target / "breakout_6.yaml")


@pytest.mark.parametrize(
    ("what", "name", "code"),
    [
        ("timeout", "set_down", "SEQ066"),
        ("bound", "locating.not_located", "SEQ042"),
        ("exception", "hoist_carries", "SEQ071"),
        ("barrier", "break", "SEQ051"),
        ("barrier", "set_down", "properties.set_down_first"),
    ],
)
def test_what_is_needed_breaks_something_when_it_is_left_out(
    found: dict[tuple[str, str], tuple[str, ...]], what: str, name: str, code: str
) -> None:
    """A rule or a property that no omission could break would be there for nothing."""
    assert code in found[what, name]


def test_everything_of_the_files_is_left_out_once(
    found: dict[tuple[str, str], tuple[str, ...]],
) -> None:
    """What is not tried would pass for needed."""
    kinds = [what for what, _ in found]

    counted = {kind: kinds.count(kind) for kind in dict.fromkeys(kinds)}
    assert counted == {"barrier": 6, "timeout": 6, "bound": 6, "exception": 3, "interlock": 4}


def test_what_nothing_depends_on_is_told_and_spoils_no_verdict(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is for the author to decide whether it is needed; the sequence is sound as it is."""
    path = copied(tmp_path) / "park.yaml"

    ended = check_files(Output.of(True), [path], CheckAsked(causes=0, leave_out=True))

    told = capsys.readouterr()
    (one,) = json.loads(told.out)["left_out"]
    assert ended is Exit.GOOD
    assert {"what": "barrier", "name": "parked", "found": [], "is_complete": True} in one["dropped"]
    assert "without barrier parked: no property of this proof needs it" in told.err
