"""Restart: what nobody knows, or a rule leaves to a person, is asked about before it moves."""

from dataclasses import replace

from coordinator.core.effects import RaisePrompt
from coordinator.core.events import (
    Act,
    CommandFaulted,
    CommandInterrupted,
    CommandStarted,
    PartyHeld,
    PromptAnswered,
)
from coordinator.core.plan import Option
from coordinator.core.prompts import UNKNOWN_OUTCOME
from tests.support.core_stories import command_of, kinds_of, pulling, reach, run_until
from tests.support.core_world import CoreWorld
from tests.support.pair_plan import AFT, FORE, asking_plan

EVERYBODY = (0, 1, 2)


def seating() -> CoreWorld:
    """Return a world in which the fore arm lifts after a socket that did not seat."""
    world = reach("seat")
    world.unanswered = [one for one in world.unanswered if one[0] != FORE]
    world.feed(CommandStarted(world.now_us, FORE, command_of(world, FORE), world.now_us))
    world.feed(CommandFaulted(world.now_us, FORE, command_of(world, FORE), "not_seated"))
    run_until(world, lambda: world.sent[FORE][-1].move.action == "lift")
    world.unanswered = [one for one in world.unanswered if one[0] != FORE]
    return world


def come_to_rest(world: CoreWorld, *, died: int = -1) -> None:
    """Let everybody stand; the one that died tells that its process did, in its ledger's words."""
    world.unanswered.clear()
    for party in EVERYBODY:
        if world.sent[party] and world.state.lanes[party].command:
            command = command_of(world, party)
            world.feed(CommandInterrupted(world.now_us, party, command, died=party == died))
    for party in EVERYBODY:
        world.feed(PartyHeld(world.now_us, party, world.hold_numbers[party][-1]))
    assert world.state.phase == "held"


def doubted_at(step: str) -> tuple[CoreWorld, RaisePrompt]:
    """Return a world whose fore arm died at a step, and the question about it after a restart."""
    world = reach(step)
    world.unanswered = [one for one in world.unanswered if one[0] != FORE]
    world.act(Act.HOLD)
    come_to_rest(world, died=FORE)
    world.act(Act.RESTART)
    run_until(world, lambda: bool(world.state.prompts))
    (asked,) = kinds_of(world.effects, RaisePrompt)
    return world, asked


def actions_since(world: CoreWorld, party: int, at: int) -> list[str]:
    """Return what a party was told to do since it had been sent so many commands."""
    return [one.move.action for one in world.sent[party][at:]]


def test_recovery_whose_arm_died_in_a_move_waits_for_a_person() -> None:
    """R3: how far the move went is not known, so a restart alone does not repeat it."""
    world = seating()
    sent = len(world.sent[FORE])
    world.act(Act.HOLD)
    come_to_rest(world, died=FORE)
    world.act(Act.RESTART)
    run_until(world, lambda: bool(world.state.prompts))
    run_until(world, lambda: not world.unanswered)

    (asked,) = kinds_of(world.effects, RaisePrompt)
    assert (asked.prompt, asked.fault) == (UNKNOWN_OUTCOME, "not_seated")
    assert actions_since(world, FORE, sent) == []
    world.feed(PromptAnswered(world.now_us, asked.number, "again", "mate"))
    run_until(world, lambda: world.sent[FORE][-1].move.action == "seat")
    assert actions_since(world, FORE, sent) == ["locate", "lift", "index", "seat"]
    assert world.behave() == "complete"


def test_recovery_that_was_broken_off_and_told_of_it_goes_on_at_a_restart() -> None:
    """What became of the move is known: the person's restart is word enough."""
    world = seating()
    sent = len(world.sent[FORE])
    world.act(Act.HOLD)
    come_to_rest(world)
    world.act(Act.RESTART)
    run_until(world, lambda: world.sent[FORE][-1].move.action == "seat")
    assert not world.state.prompts
    assert actions_since(world, FORE, sent) == ["locate", "lift", "index", "seat"]


def test_question_that_a_hold_took_back_is_asked_again_before_anything_is_retried() -> None:
    """R2: a restart is not the answer that nobody has given; the re-checks are made after it."""
    world = pulling()
    world.feed(CommandFaulted(world.now_us, FORE, command_of(world, FORE), "not_reached"))
    world.feed(CommandInterrupted(world.now_us, AFT, command_of(world, AFT)))
    world.feed(PartyHeld(world.now_us, AFT, world.hold_numbers[AFT][-1]))
    assert len(world.state.prompts) == 1
    sent = len(world.sent[FORE]), len(world.sent[AFT])
    world.act(Act.HOLD)
    come_to_rest(world)
    assert not world.state.prompts
    world.act(Act.RESTART)
    run_until(world, lambda: bool(world.state.prompts))
    run_until(world, lambda: not world.unanswered)

    assert (actions_since(world, FORE, sent[0]), actions_since(world, AFT, sent[1])) == ([], [])
    (number,) = (one.number for one in world.state.prompts)
    world.feed(PromptAnswered(world.now_us, number, "again", "mate"))
    run_until(world, lambda: world.sent[FORE][-1].move.action == "pull")
    assert actions_since(world, FORE, sent[0]) == ["locate", "relieve", "pull"]
    run_until(world, lambda: world.sent[AFT][-1].move.action == "pull")
    assert actions_since(world, AFT, sent[1]) == ["locate", "pull"]
    assert world.behave() == "complete"


def test_work_by_hand_after_a_hold_leaves_the_re_checks_to_be_made() -> None:
    """The joint may have moved for what comes next, whoever did what was at hand."""
    world = pulling()
    world.act(Act.HOLD)
    come_to_rest(world, died=FORE)
    sent = len(world.sent[FORE])
    world.act(Act.RESTART)
    run_until(world, lambda: bool(world.state.prompts))
    for option in ("by_hand", "by_hand"):
        number = world.state.prompts[0].number
        world.feed(PromptAnswered(world.now_us, number, option, "mate", 1000.0))
    run_until(world, lambda: world.sent[FORE][-1].move.action == "lift")
    assert actions_since(world, FORE, sent) == ["locate", "lift"]


def test_step_that_leaves_a_zone_is_not_done_by_hand() -> None:
    """Z2, found by the second model: the zone stayed leased and the other side waited for ever."""
    world, asked = doubted_at("park")

    assert (asked.prompt, asked.options) == (UNKNOWN_OUTCOME, ("again", "abort"))
    world.feed(PromptAnswered(world.now_us, asked.number, "again", "mate"))
    run_until(world, lambda: world.state.zones[0] != FORE)
    assert world.behave() == "complete"


def test_step_inside_a_zone_may_be_done_by_hand_and_the_arm_leaves_by_itself() -> None:
    """What a person did inside frees nothing: the arm's own next move does."""
    world, asked = doubted_at("pick")

    assert asked.options == ("again", "by_hand", "abort")
    world.feed(PromptAnswered(world.now_us, asked.number, "by_hand", "mate"))
    assert world.state.zones == (FORE,)
    assert world.behave() == "complete"


def sent_back() -> CoreWorld:
    """Return a world in which a person has sent both sides back a round, and the fore arm lifts."""
    plan = asking_plan()
    offered = (Option.AGAIN, Option.BACK_A_ROUND, Option.LEAVE, Option.ABORT)
    prompt = replace(plan.prompts[0], options=tuple((one, one.value) for one in offered))
    rounds = (("round", 1), ("pair", 1))
    nodes = tuple(
        replace(one, loops=rounds) if one.name in ("seat", "open", "pull", "close") else one
        for one in plan.nodes
    )
    world = pulling(replace(plan, nodes=nodes, prompts=(prompt,)))
    world.feed(CommandFaulted(world.now_us, AFT, command_of(world, AFT), "not_reached"))
    world.feed(CommandInterrupted(world.now_us, FORE, command_of(world, FORE)))
    world.feed(PartyHeld(world.now_us, FORE, world.hold_numbers[FORE][-1]))
    number = world.state.prompts[0].number
    world.feed(PromptAnswered(world.now_us, number, "back_a_round", "mate"))
    run_until(world, lambda: world.sent[FORE][-1].move.action == "lift")
    world.unanswered = [one for one in world.unanswered if one[0] != FORE]
    return world


def test_side_that_is_sent_back_goes_on_leaving_while_a_person_is_asked_about_the_other() -> None:
    """Found by the second model: it stood until the time at the next barrier was over."""
    world = sent_back()
    run_until(world, lambda: world.sent[AFT][-1].move.action == "seat")
    sent = len(world.sent[FORE])
    world.act(Act.HOLD)
    come_to_rest(world, died=AFT)
    world.act(Act.RESTART)
    run_until(world, lambda: bool(world.state.prompts))
    run_until(world, lambda: world.sent[FORE][-1].move.action == "seat")

    assert actions_since(world, FORE, sent) == ["lift", "park", "seat"]
    (opened,) = world.state.prompts
    assert (opened.lane, opened.prompt) == (AFT, UNKNOWN_OUTCOME)
    world.feed(PromptAnswered(world.now_us, opened.number, "again", "mate"))
    assert world.behave() == "complete"


def test_whoever_leaves_is_not_asked_whether_that_was_done_by_hand() -> None:
    """By hand means the step; a side on its way out does not do its step any more."""
    world = pulling()
    world.feed(CommandFaulted(world.now_us, FORE, command_of(world, FORE), "not_reached"))
    world.feed(CommandInterrupted(world.now_us, AFT, command_of(world, AFT)))
    world.feed(PartyHeld(world.now_us, AFT, world.hold_numbers[AFT][-1]))
    number = world.state.prompts[0].number
    world.feed(PromptAnswered(world.now_us, number, "leave", "mate"))
    run_until(world, lambda: world.sent[AFT][-1].move.action == "lift")
    world.act(Act.HOLD)
    come_to_rest(world, died=AFT)
    world.act(Act.RESTART)
    run_until(world, lambda: bool(world.state.prompts))

    asked = kinds_of(world.effects, RaisePrompt)[-1]
    assert (asked.party, asked.options) == (AFT, ("again", "abort"))
    world.feed(PromptAnswered(world.now_us, asked.number, "again", "mate"))
    assert world.behave() == "aborted"


def test_side_sent_back_whose_way_out_fails_is_asked_about_alone_and_goes_on_leaving() -> None:
    """Found by the proof: the other had gone on to work, and the answer broke the core."""
    world = sent_back()
    run_until(world, lambda: world.sent[AFT][-1].move.action == "seat")
    sent = len(world.sent[FORE])
    world.feed(CommandFaulted(world.now_us, FORE, command_of(world, FORE), "not_reached"))

    (asked,) = (one for one in world.effects if isinstance(one, RaisePrompt) and one.number == 2)
    assert (asked.party, asked.options) == (FORE, ("again", "leave", "abort"))
    assert not any(lane.rest.hold_us for lane in world.state.lanes)
    world.feed(PromptAnswered(world.now_us, asked.number, "again", "mate"))
    run_until(world, lambda: world.sent[FORE][-1].move.action == "seat")
    assert actions_since(world, FORE, sent) == ["lift", "park", "seat"]
    assert world.behave() == "complete"


def test_way_out_that_fails_without_a_rule_holds_everybody_and_goes_on_after_a_restart() -> None:
    """Found by the proof: one side stayed failed and the other broken off, and nothing happened."""
    world = sent_back()
    sent = len(world.sent[FORE])
    world.feed(CommandFaulted(world.now_us, FORE, command_of(world, FORE), "never_named"))
    assert world.state.phase == "holding"
    come_to_rest(world)
    world.act(Act.RESTART)
    run_until(world, lambda: world.sent[FORE][-1].move.action == "seat")

    assert actions_since(world, FORE, sent) == ["lift", "park", "seat"]
    assert world.behave() == "complete"


def test_way_out_that_is_left_in_order_takes_no_step_from_who_is_at_work_again() -> None:
    """Found with the two above: to leave is no move of a side that has gone on."""
    world = sent_back()
    run_until(world, lambda: world.sent[AFT][-1].move.action == "seat")
    world.feed(CommandFaulted(world.now_us, FORE, command_of(world, FORE), "not_reached"))
    number = world.state.prompts[0].number
    world.feed(PromptAnswered(world.now_us, number, "leave", "mate"))

    assert world.behave() == "aborted"
