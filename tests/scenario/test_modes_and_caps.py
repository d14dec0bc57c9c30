"""Modes, caps and overrides over the whole make-up, judged from the messages on the bus."""

import json
from dataclasses import replace
from typing import Any

import pytest

from coordinator.core.plan import Caps, Mode, Plan
from coordinator.rehearse.rehearsal import Rehearsal, rehearse
from coordinator.sequence import Loaded, People, StepWord, load
from coordinator.sequence.caps import capped
from tests.support.sequence_files import SEQUENCES

Delivery = dict[str, Any]


@pytest.fixture(scope="module")
def makeup() -> Loaded:
    """Return the shipped make-up of eight bolts."""
    return load(SEQUENCES / "makeup_8.yaml")


def go(loaded: Loaded, mode: Mode = Mode.AUTOMATIC) -> tuple[Rehearsal, list[Delivery]]:
    lines: list[str] = []
    people = People(steps=(StepWord("mate"),))
    result = rehearse(loaded, mode=mode, people=people, write_line=lines.append)
    marks = tuple(f'"org.bothsides.{name}"' for name in ("do", "lease", "refused", "finished"))
    return result, [json.loads(one) for one in lines if any(mark in one for mark in marks)]


def with_plan(loaded: Loaded, plan: Plan) -> Loaded:
    return replace(loaded, plan=plan)


@pytest.mark.parametrize("mode", [Mode.STEP, Mode.TO_BARRIER, Mode.MANUAL])
def test_outside_automatic_mode_nothing_begins_without_a_word(makeup: Loaded, mode: Mode) -> None:
    """M1, M2: a word before every step, and yet every pull is a pair's and the joint is made."""
    result, deliveries = go(makeup, mode)

    assert result.phase == "complete"
    words = [at_us for at_us, one in result.notices if one.kind == "step"]
    dos = [one for one in deliveries if one["type"].endswith(".do")]
    since: dict[int, dict[str, int]] = {}
    for one in dos:
        if one["data"]["action"] == "confirm_torque":
            continue  # Inside a paired span: brought to its end with what it began with.
        word = max(i for i, at_us in enumerate(words) if at_us <= one["sent_us"])
        told = since.setdefault(word, {})
        told[one["subject"]] = told.get(one["subject"], 0) + 1
    if mode is not Mode.TO_BARRIER:
        assert all(count == 1 for told in since.values() for count in told.values())
    else:
        assert len(words) < len(dos) / 3


def test_capped_arms_are_told_with_every_lease_and_nobody_pulls_above(makeup: Loaded) -> None:
    """SQ23: A capped run proves no more than it pulled."""
    caps = Caps(1500.0, 0.5)
    result, deliveries = go(with_plan(makeup, capped(makeup.plan, caps)))

    assert result.phase == "complete"
    leases = [one["data"] for one in deliveries if one["type"].endswith(".lease")]
    told = {(one["torque_nm_max"], one["speed_share_max"]) for one in leases}
    assert told == {(1500.0, 0.5)}
    asked = [one["data"]["parameters"] for one in deliveries if one["type"].endswith(".do")]
    assert max(one["torque"] for one in asked if "torque" in one) == 1500.0
    felt = [
        one["data"]["results"]["torque_nm"]
        for one in deliveries
        if one["type"].endswith(".finished") and "strokes" in one["data"]["results"]
    ]
    assert max(felt) <= 1500.0 * 1.02
    assert result.time_us > go(makeup)[0].time_us


def test_a_run_without_torque_makes_every_approach_and_pulls_and_proves_nothing(
    makeup: Loaded,
) -> None:
    """SQ23: The first run of a real arm: sockets seat and reactions lean, and no pressure comes."""
    result, deliveries = go(with_plan(makeup, capped(makeup.plan, Caps(0.0, 0.25))))

    asked = [one["data"] for one in deliveries if one["type"].endswith(".do")]
    written = [node.move.action for node in makeup.plan.nodes if node.move is not None]
    actions = [one["action"] for one in asked]
    assert result.phase == "complete"
    assert not any("torque" in name for one in asked for name in one["parameters"])
    for approach in ("seat_wrench", "react", "lift_wrench", "run_up"):
        assert actions.count(approach) == written.count(approach)
    assert "stand_by" in actions
    assert not any(word in actions for word in ("pull", "confirm_torque", "check_torque"))
    proved = [makeup.plan.nodes[one.effect.node].record for one in result.proofs]
    assert {one.kind for one in proved if one is not None} == {"run-up"}
    leases = [one["data"] for one in deliveries if one["type"].endswith(".lease")]
    assert {one["torque_nm_max"] for one in leases} == {0.0}


def test_an_arm_refuses_above_the_cap_of_its_lease_whatever_it_is_told(makeup: Loaded) -> None:
    """The coordinator is not trusted to be right: a plan that was not capped is refused."""
    plan = replace(makeup.plan, caps=Caps(1500.0))
    result, deliveries = go(with_plan(makeup, plan))

    assert result.phase == "held"
    refused = [one["data"] for one in deliveries if one["type"].endswith(".refused")]
    assert {one["reason"] for one in refused} >= {"unfit"}
    assert any("must be 0 to 1500" in one["detail"] for one in refused)


@pytest.mark.parametrize("caps", [Caps(-1.0), Caps(float("nan")), Caps(None, 0.0)])
def test_a_cap_that_is_none_is_refused(makeup: Loaded, caps: Caps) -> None:
    """Speed of nothing lets nothing move; what is below nothing has no meaning."""
    with pytest.raises(ValueError, match="cap is"):
        capped(makeup.plan, caps)
