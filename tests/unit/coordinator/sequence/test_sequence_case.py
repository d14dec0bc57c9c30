"""Cases: causes with units against a catalogue, and what people do."""

from pathlib import Path

import pytest

from coordinator.core.events import Act as ActName
from coordinator.core.plan import Option
from coordinator.sequence import (
    Act,
    Answer,
    CaseCause,
    SequenceError,
    read_answers,
    read_case,
)
from sim_arms.causes import CATALOGUE
from tests.support.sequence_files import SEQUENCES

SMALL = {
    "burr": {"height": "length", "corner": "number"},
    "leak": {"share_per_s": "ratio"},
    "delay": {"time": "time"},
}


def write(folder: Path, text: str) -> Path:
    """Write a case and return its path."""
    path = folder / "case.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_case_is_read_with_its_units(tmp_path: Path) -> None:
    """Every value in SI or microseconds, parameters in the order of their names."""
    path = write(
        tmp_path,
        """
case: trouble
seed: 7
causes:
  - {cause: burr, side: fore, bolt: 3, height: 2 mm, corner: 2, times: 1}
  - {cause: leak, share_per_s: 10 %, at: 412.3 s, for: 1 min}
  - {cause: leak, share_per_s: 2.5}
  - {cause: delay, time: 500 ms}
answers: [{prompt: stuck, answer: again, by: mate}]
acts:
  - {act: pause, at: 0 s, by: mate}
  - {act: restart, when: held, after: 2 s, by: mate}
""",
    )

    case = read_case(path, SMALL)

    assert (case.case, case.seed) == ("trouble", 7)
    assert case.causes == (
        CaseCause("burr", "fore", 3, None, None, 1, (("corner", 2.0), ("height", 0.002))),
        CaseCause("leak", at_us=412_300_000, for_us=60_000_000, parameters=(("share_per_s", 0.1),)),
        CaseCause("leak", parameters=(("share_per_s", 2.5),)),
        CaseCause("delay", parameters=(("time", 0.5),)),
    )
    assert case.answers == (Answer("stuck", Option.AGAIN, "mate"),)
    assert case.acts == (
        Act(ActName.PAUSE, "mate", at_us=0),
        Act(ActName.RESTART, "mate", when="held", after_us=2_000_000),
    )


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("causes: [{cause: bur}]", "SEQ055"),
        ("causes: [{cause: burr, hight: 2 mm}]", "SEQ015"),
        ("causes: [{cause: burr, height: 2 s}]", "SEQ012"),
        ("causes: [{cause: burr, height: 2}]", "SEQ012"),
        ("causes: [{cause: burr, corner: 2 mm}]", "SEQ008"),
        ("causes: [{cause: burr, bolt: 9}]", "SEQ017"),
        ("causes: [{cause: burr, bolt: 0}]", "SEQ009"),
        ("causes: [{cause: burr, side: port}]", "SEQ056"),
        ("answers: [{prompt: stuck, answer: maybe, by: mate}]", "SEQ009"),
        ("answers: [{prompt: stuck, answer: again}]", "SEQ007"),
        ("acts: [{act: reset, by: mate}]", "SEQ007"),
        ("acts: [{act: reset, by: mate, when: held, at: 3 s}]", "SEQ007"),
        ("acts: [{act: reset, by: mate, at: 3 s, after: 1 s}]", "SEQ007"),
        ("acts: [{act: reset, by: mate, when: holding_on}]", "SEQ009"),
    ],
)
def test_a_wrong_line_of_a_case_is_told(tmp_path: Path, line: str, code: str) -> None:
    """A cause that is silently left out would make a campaign pass for nothing."""
    with pytest.raises(SequenceError) as caught:
        read_case(write(tmp_path, f"case: x\n{line}\n"), SMALL, sides=("fore",), bolt_count=8)

    assert [one.code for one in caught.value.diagnostics] == [code]


def test_answers_are_read_alone(tmp_path: Path) -> None:
    """A run without causes takes its people from a file of their own."""
    people = read_answers(write(tmp_path, "acts: [{act: start, at: 1 s, by: mate}]\n"))

    assert people.acts == (Act(ActName.START, "mate", at_us=1_000_000),)
    assert people.answers == ()


@pytest.mark.parametrize(
    "path", sorted((SEQUENCES / "cases").glob("*.yaml")), ids=lambda path: path.stem
)
def test_a_shipped_case_fits_the_catalogue_of_the_simulated_world(path: Path) -> None:
    """Cases and catalogue are written by different hands."""
    catalogue = {
        name: {word: one.dimension for word, one in kind.parameters.items()}
        for name, kind in CATALOGUE.items()
    }

    assert (
        read_case(path, catalogue, sides=("fore", "aft", "hoist"), bolt_count=8).case == path.stem
    )
