"""Paired spans: one fate for both sides."""

from dataclasses import replace

from coordinator.core.effects import SendHold, SendRelease
from coordinator.core.events import (
    CommandFaulted,
    CommandFinished,
    CommandInterrupted,
    CommandProgressed,
    CommandStarted,
    PartyHeld,
    PartyReady,
    SignalSeen,
)
from coordinator.core.plan import Exhausted, Move, Plan, Rule
from tests.support.core_stories import (
    command_of,
    kinds_of,
    reach,
    run_until,
    take_too_long,
    words_of,
)
from tests.support.core_world import CoreWorld
from tests.support.pair_plan import AFT, CLOSE, FORE, INTERLOCK, OPEN, pair_plan

PAIR = (FORE, AFT)


def pulling(plan: Plan | None = None) -> CoreWorld:
    """Return a world in which both sides pull and nobody has reported an end."""
    world = reach("pull", plan=plan)
    world.unanswered.clear()
    for party in PAIR:
        world.feed(CommandStarted(world.now_us, party, command_of(world, party), world.now_us))
    return world


def test_partner_is_stopped_and_both_start_again_together() -> None:
    """S3, S6: one side must not pull on against a partner that has failed."""
    world = pulling()
    first = world.state.meetings[OPEN].epoch
    effects = world.feed(CommandFaulted(world.now_us, FORE, command_of(world, FORE), "not_reached"))
    assert [hold.party for hold in kinds_of(effects, SendHold)] == [AFT]
    run_until(world, lambda: world.state.meetings[OPEN].epoch > first)
    again_at = len(world.effects)
    run_until(world, lambda: bool(kinds_of(world.effects[again_at:], SendRelease)))
    releases = kinds_of(world.effects[again_at:], SendRelease)
    assert [one.party for one in releases] == [FORE, AFT]
    assert world.behave() == "complete"


def test_nobody_starts_again_before_the_partner_stands() -> None:
    """S3: its fate is decided once both are at rest."""
    world = pulling()
    world.feed(CommandFaulted(world.now_us, FORE, command_of(world, FORE), "not_reached"))
    assert not words_of(world, "span_again")
    world.feed(CommandInterrupted(world.now_us, AFT, command_of(world, AFT)))
    assert not words_of(world, "span_again")
    world.feed(PartyHeld(world.now_us, AFT, world.hold_numbers[AFT][-1]))
    assert len(words_of(world, "span_again")) == 1


def test_torques_beyond_the_band_hold_both() -> None:
    """S4: 600 N·m is the band; 601 N·m is outside it, 600 N·m is not."""
    world = pulling()
    world.feed(CommandProgressed(world.now_us, AFT, command_of(world, AFT), 100))
    within = world.feed(CommandProgressed(world.now_us, FORE, command_of(world, FORE), 700))
    assert not kinds_of(within, SendHold)
    beyond = world.feed(CommandProgressed(world.now_us, FORE, command_of(world, FORE), 701))
    assert sorted(hold.party for hold in kinds_of(beyond, SendHold)) == [FORE, AFT]


def test_partner_that_does_not_stop_in_time_holds_the_procedure() -> None:
    """A side that may still be pulling is everybody's business."""
    world = pulling()
    world.feed(CommandFaulted(world.now_us, FORE, command_of(world, FORE), "not_reached"))
    world.unanswered.clear()
    world.wait(2_000_000)
    assert world.state.phase == "holding"
    assert world.state.reason == "aft did not confirm in time that it stands"


def test_sides_that_started_out_of_step_start_over() -> None:
    """B5: a pull that one side began alone is not carried on."""
    world = reach("pull")
    world.unanswered.clear()
    for party, at_us in ((FORE, 1_000_000), (AFT, 1_050_001)):
        world.feed(CommandStarted(world.now_us, party, command_of(world, party), at_us))
    assert words_of(world, "out_of_step")
    assert world.behave() == "complete"
    assert words_of(world, "span_again")


def test_once_one_side_holds_the_procedure_the_other_is_not_asked() -> None:
    """P2: a prompt raised into a hold would be answered about a situation that is over."""
    world = pulling(longer_plan())
    for party, fault in ((FORE, "leak"), (AFT, "not_reached")):
        world.feed(CommandFaulted(world.now_us, party, command_of(world, party), fault))
    world.feed(PartyHeld(world.now_us, AFT, world.hold_numbers[AFT][-1]))
    assert world.state.phase == "holding"
    assert not world.prompts


def longer_plan() -> Plan:
    """Return a plan in which aft has a second step inside the span, gated where pulls are not."""
    plan = pair_plan()
    pull, added = plan.spans[0].nodes[AFT][0], len(plan.nodes)
    closing = plan.barriers[CLOSE].nodes[AFT]
    confirm = replace(plan.nodes[pull], name="confirm", after=(pull,), move=Move("confirm"))
    once = (Rule("not_reached", 1, then=Exhausted.ASK, prompt=0), Rule("out_of_step", 2))
    excepted = ((INTERLOCK, "the load is held by two pins"),)
    nodes = [
        replace(node, rules=once, exceptions=excepted) if node.name == "pull" else node
        for node in plan.nodes
    ]
    nodes[closing] = replace(nodes[closing], after=(added,))
    at = plan.lanes[AFT].index(closing)
    lane = (*plan.lanes[AFT][:at], added, *plan.lanes[AFT][at:])
    span = replace(plan.spans[0], nodes=(plan.spans[0].nodes[FORE], (pull, added)))
    lanes = (plan.lanes[FORE], lane, *plan.lanes[2:])
    return replace(plan, nodes=(*nodes, confirm), lanes=lanes, spans=(span,))


def test_side_at_a_gate_does_not_go_on_while_its_partner_has_failed() -> None:
    """S3: a gate that clears is no reason to go on in a span in which the other has failed."""
    world = pulling(longer_plan())
    world.feed(SignalSeen(world.now_us, INTERLOCK, False))
    world.feed(CommandFinished(world.now_us, AFT, command_of(world, AFT)))
    world.feed(CommandFaulted(world.now_us, FORE, command_of(world, FORE), "not_reached"))
    assert world.prompts
    sent = len(world.sent[AFT])
    world.feed(SignalSeen(world.now_us, INTERLOCK, True))
    assert len(world.sent[AFT]) == sent
    assert world.behave() == "complete"


def test_side_that_started_anew_while_arming_does_not_keep_the_pair_waiting() -> None:
    """Its word settled what became of the command: nobody need be asked, both go back."""
    world = reach("close", armed=False)
    world.unanswered.clear()
    world.parties[AFT].boot += 1
    world.see(AFT)
    world.feed(PartyHeld(world.now_us, FORE, world.hold_numbers[FORE][-1]))
    world.feed(CommandFaulted(world.now_us, AFT, command_of(world, AFT), "not_seated"))
    assert world.behave() == "complete"


def test_recovery_that_takes_too_long_and_ends_all_the_same_leaves_nobody_waiting() -> None:
    """Found by the proof: the partner, told to stop, waited for a fault that never came."""
    world = pulling()
    for party in PAIR:
        world.feed(CommandFaulted(world.now_us, party, command_of(world, party), "not_reached"))
    world.feed(PartyHeld(world.now_us, AFT, world.hold_numbers[AFT][-1]))
    late = run_late(world, FORE)
    world.feed(CommandFinished(world.now_us, FORE, late))
    world.feed(CommandInterrupted(world.now_us, AFT, command_of(world, AFT)))
    for party in PAIR:
        world.feed(PartyHeld(world.now_us, party, world.hold_numbers[party][-1]))
    assert world.behave() == "complete"


def run_late(world: CoreWorld, party: int) -> int:
    """Let the party's recovery take longer than it may; return its command."""
    run_until(world, lambda: world.sent[party][-1].move.action == "relieve")
    world.unanswered.clear()
    world.wait(300_000)
    world.feed(PartyReady(world.now_us, AFT, world.ready_numbers[AFT][-1]))
    return take_too_long(world, party, busy=PAIR)


def test_start_missed_while_a_person_is_asked_about_the_other_side_waits_for_the_answer() -> None:
    """Found by the proof: the pair went back beneath the open prompt, whose answer then broke."""
    world = reach("pull", plan=longer_plan())
    world.unanswered.clear()
    fore = command_of(world, FORE)
    world.feed(CommandStarted(world.now_us, FORE, fore, world.now_us))
    world.feed(CommandFaulted(world.now_us, FORE, fore, "not_reached"))
    world.feed(CommandFinished(world.now_us, AFT, command_of(world, AFT)))
    world.feed(PartyHeld(world.now_us, AFT, world.hold_numbers[AFT][-1]))
    assert world.state.prompts
    world.unanswered.clear()
    world.wait(1_000_000)
    assert words_of(world, "start_missing")
    assert world.state.lanes[FORE].phase == "prompted"
    assert world.behave() == "complete"
