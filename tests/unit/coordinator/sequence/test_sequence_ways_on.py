"""Whoever is asked can move the sequence on by some answer; the proof is the judge of that."""

from pathlib import Path

import pytest

from coordinator.prove import Limits, explore
from coordinator.sequence import load
from tests.support.sequence_files import SEQUENCES, codes_of, findings_of, write_sequence


def _asked(*options: str, then: str = "{ask: lost}", more: str = "") -> str:
    offered = "".join(f"      {one}: does it\n" for one in options)
    return (
        "prompts:\n  lost:\n    text: Look.\n    caution: 'WARNING: stay clear.'\n    options:\n"
        f"{offered}policies:\n  looking:\n    not_located: {{attempts: 2, then: {then}}}\n{more}"
        "lanes:\n  fore:\n    - {do: locate_joint, policy: looking}\n  aft:\n    - do: park\n"
    )


@pytest.mark.parametrize(
    ("options", "codes"),
    [
        (("again", "hold"), []),
        (("by_hand", "abort"), []),
        (("hold", "abort"), ["SEQ079"]),
        (("leave",), ["SEQ079"]),
        (("back_off", "hold"), ["SEQ079"]),
        # In no round there is no round to go back to: these are not even shown.
        (("replace_bolt", "back_a_round", "hold"), ["SEQ079"]),
    ],
)
def test_a_prompt_must_offer_an_answer_that_leads_on_from_the_step_that_asks(
    tmp_path: Path, options: tuple[str, ...], codes: list[str]
) -> None:
    """SQ14: Else whoever is asked at night can only give up."""
    assert codes_of(write_sequence(tmp_path, _asked(*options))) == codes


@pytest.mark.parametrize("option", ["again", "by_hand", "hold", "leave", "back_off"])
def test_the_rule_finds_what_the_proof_finds_with_a_cause_for_every_attempt(
    tmp_path: Path, option: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQ14: without the rule the proof is asked: two attempts fail, and somebody answers."""
    path = write_sequence(tmp_path, _asked(option, "abort"))
    is_told = bool(codes_of(path))
    monkeypatch.setattr("coordinator.sequence.compile.check_ways_on", lambda *_: None)

    proof = explore(load(path).plan, Limits(2))

    assert is_told == (not proof.is_proved)
    assert explore(load(path).plan, Limits(1)).is_proved


def test_a_prompt_that_no_step_comes_to_is_not_judged_by_its_answers(tmp_path: Path) -> None:
    """It is told for what it is: declared and never used."""
    assert codes_of(write_sequence(tmp_path, _asked("hold", then="hold"))) == ["SEQ044"]


def test_what_is_asked_otherwise_must_lead_on_too(tmp_path: Path) -> None:
    """A question for all faults that no policy names is asked by most steps."""
    body = _asked("hold", then="hold")
    head = "sequence: small\ntext: small\ncell: cells/sill_point.yaml\n"
    head += "joint: joints/airlift_16in_8.yaml\nbegins: joint_open\notherwise: {ask: lost}\n"
    body += "    - {do: change_tool, with: {tool: gripper}}\n    - do: fit_cover\n"
    path = write_sequence(tmp_path, body + "    - do: take_cover\n", head=head)

    (one,) = findings_of(path)
    assert one.code == "SEQ079"
    assert path.read_text(encoding="utf-8").splitlines()[one.line - 1].strip() == "options:"


def test_where_pairs_are_pulled_in_rounds_a_new_bolt_leads_on(tmp_path: Path) -> None:
    """Both sides go on from the first round: the shipped prompt without its other answers."""
    text = (SEQUENCES / "makeup.yaml").read_text(encoding="utf-8")
    begin = text.index("  torque_trouble:")
    asked = text[begin : text.index("  arm_refuses:", begin)]
    kept = [
        line for line in asked.splitlines() if not line.strip().startswith(("again", "by_hand"))
    ]
    assert any("replace_bolt" in line for line in kept)
    text = text.replace(asked, "\n".join(kept) + "\n")
    (one,) = findings_of(write_sequence(tmp_path, text, head=""))
    # The reaction is made before the pair meets: there the answers of a pair are not shown.
    assert one.code == "SEQ079"
    assert "'react bolt 1 round 1' asks it" in one.what

    begin = text.index("  seating:")
    seating = text[begin : text.index("  pulling:", begin)]
    text = text.replace(seating, seating.replace("{ask: torque_trouble}", "hold"))
    (one,) = findings_of(write_sequence(tmp_path, text, head=""))
    # The check pass is a pair of no round.
    assert "'check torque" in one.what

    check = text.index("      - do: check_torque")
    text = text[:check] + text[check:].replace("        policy: pulling\n", "", 1)
    assert codes_of(write_sequence(tmp_path, text, head="")) == []
