"""Prompts and the procedure: what a person may do, and what it leads to."""

from coordinator.core.effects import Notify, RaisePrompt, WithdrawPrompt
from coordinator.core.events import (
    Act,
    CommandFaulted,
    CommandFinished,
    CommandInterrupted,
    PartyHeld,
    PromptAnswered,
    PromptTaken,
)
from tests.support.core_stories import (
    command_of,
    kinds_of,
    reach,
    run_until,
    take_too_long,
    words_of,
)
from tests.support.core_world import CoreWorld
from tests.support.pair_plan import AFT, FORE, HOIST


def asked(evidence: tuple[tuple[str, float], ...] = ()) -> CoreWorld:
    """Return a world in which both sides of a pull have failed as often as they may."""
    world = reach("pull")
    while not world.prompts:
        run_until(
            world,
            lambda: (
                all(world.state.lanes[i].phase == "running" for i in (FORE, AFT))
                and world.sent[FORE][-1].move.action == "pull"
            ),
        )
        world.unanswered.clear()
        for party in (FORE, AFT):
            command = command_of(world, party)
            world.feed(CommandFaulted(world.now_us, party, command, "not_reached", evidence))
        run_until(
            world,
            lambda: bool(world.prompts) or world.state.lanes[FORE].phase == "recovering",
        )
        if not world.prompts:
            run_until(world, lambda: world.state.lanes[FORE].phase != "recovering")
    return world


def test_only_the_first_answer_counts() -> None:
    """P6: two people at two screens must not both be obeyed."""
    world = asked()
    number = min(world.prompts)
    world.feed(PromptAnswered(world.now_us, number, "again", "Ada"))
    late = world.feed(PromptAnswered(world.now_us, number, "abort", "Ben"))
    assert [effect.kind for effect in late if isinstance(effect, Notify)] == ["answer_late"]
    assert len(late) == 1


def test_option_that_was_not_offered_does_nothing() -> None:
    """A prompt stays open until it is answered with one of its options."""
    world = asked()
    world.feed(PromptAnswered(world.now_us, min(world.prompts), "skip", "Ada"))
    assert words_of(world, "answer_unknown")
    assert world.state.prompts


def test_both_sides_go_back_once_the_last_prompt_is_answered() -> None:
    """S6: one person's answer must not send one side off alone."""
    world = asked()
    assert len(world.prompts) == 2
    before = len(words_of(world, "span_again"))
    first, second = sorted(world.prompts)
    world.feed(PromptAnswered(world.now_us, first, "again", "Ada"))
    assert len(words_of(world, "span_again")) == before
    world.feed(PromptAnswered(world.now_us, second, "again", "Ada"))
    assert len(words_of(world, "span_again")) == before + 1


def test_hold_withdraws_every_prompt() -> None:
    """P2: what was asked may no longer be so."""
    world = asked()
    effects = world.act(Act.HOLD)
    assert len(kinds_of(effects, WithdrawPrompt)) == 2
    assert not world.state.prompts


def test_pause_ends_a_paired_span_first() -> None:
    """A pull is not left half-done for a pause; nothing after it begins."""
    world = reach("pull")
    world.act(Act.PAUSE)
    run_until(world, lambda: world.state.phase == "paused")
    assert world.sent[FORE][-1].move.action == "lift"
    assert not any(lane.command for lane in world.state.lanes)
    assert world.behave() == "complete"


def test_party_told_to_hold_is_waited_for_before_all_count_as_paused() -> None:
    """Found by a campaign: it said that it stands once all were paused, and waited for ever."""
    world = reach("park")
    world.act(Act.PAUSE)
    world.unanswered.clear()
    for party in (AFT, HOIST):
        if world.state.lanes[party].command:
            world.feed(CommandFinished(world.now_us, party, command_of(world, party)))
    late = take_too_long(world, FORE, busy=(FORE,))
    world.feed(CommandInterrupted(world.now_us, FORE, late))
    assert world.state.phase == "pausing"
    world.feed(PartyHeld(world.now_us, FORE, world.hold_numbers[FORE][-1]))
    assert world.behave() == "complete"


def test_act_that_the_phase_does_not_allow_is_refused_in_words() -> None:
    """X1: a person's mistake is an event, never an exception."""
    world = reach("pick")
    world.act(Act.RESTART)
    assert words_of(world, "act_refused") == ["restart: not from running"]


def test_only_the_owner_of_a_prompt_answers_it_until_somebody_takes_it_over() -> None:
    """Two people with two minds about one fault must not both act."""
    world = asked()
    number = min(world.prompts)
    world.feed(PromptTaken(world.now_us, number, "Ada"))
    world.feed(PromptAnswered(world.now_us, number, "again", "Bo"))
    assert number in [one.number for one in world.state.prompts]
    assert "is Ada's" in words_of(world, "answer_unknown")[-1]
    world.feed(PromptTaken(world.now_us, number, "Bo"))
    assert words_of(world, "taken")[-1] == f"Bo takes prompt {number} from Ada"
    world.feed(PromptAnswered(world.now_us, number, "again", "Bo"))
    assert number not in [one.number for one in world.state.prompts]


def test_a_prompt_carries_what_was_measured_and_how_often_it_was_tried() -> None:
    """Nobody can decide about a fault without its evidence."""
    world = asked(evidence=(("torque_nm", 712.0),))
    raised = kinds_of(world.effects, RaisePrompt)
    assert [one.evidence for one in raised] == 2 * [(("torque_nm", 712.0), ("attempts", 2.0))]
