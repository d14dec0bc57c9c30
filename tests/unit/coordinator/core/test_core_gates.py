"""Gates at the last moment, silence, starts and ends: what must be known before it counts."""

from dataclasses import replace

from coordinator.core import decide
from coordinator.core.effects import SendAsk, SendDo, SendRelease, WriteRecord
from coordinator.core.events import (
    CommandArmed,
    CommandFaulted,
    CommandFinished,
    CommandStarted,
    SignalSeen,
)
from coordinator.core.plan import Interlock, InterlockKind, Plan, Signal
from coordinator.sequence import load
from tests.support.core_stories import command_of, holds_of, kinds_of, reach, run_until, words_of
from tests.support.pair_plan import AFT, FORE, pair_plan
from tests.support.sequence_files import SEQUENCES

OIL = 2


def plan_with_a_supply() -> Plan:
    """Return the pair plan, whose pulls need a supply that holds nobody when it fails."""
    plan = pair_plan()
    return replace(
        plan,
        nodes=tuple(
            replace(node, permissives=(OIL,)) if node.name == "pull" else node
            for node in plan.nodes
        ),
        interlocks=(
            *plan.interlocks,
            Interlock("supply_up", OIL, InterlockKind.PERMISSIVE, "the supply is low"),
        ),
        signals=(*plan.signals, Signal("supply", 1_000_000)),
    )


def test_supply_lost_between_arming_and_release_releases_nobody() -> None:
    """I1: a permissive holds nobody, so the release must ask for it once more."""
    world = reach("open", armed=False, plan=plan_with_a_supply())
    world.feed(SignalSeen(world.now_us, OIL, False))
    assert world.state.phase == "running"

    effects = [
        effect
        for party in (FORE, AFT)
        for effect in world.feed(CommandArmed(world.now_us, party, command_of(world, party)))
    ]

    assert not kinds_of(effects, SendRelease)
    assert world.state.phase == "holding"
    assert "may not move" in words_of(world, "hold")[-1]


def test_end_that_comes_in_before_time_is_called_sends_nothing_on_an_old_signal() -> None:
    """I8: an event is decided by its own time, whether or not the deadline was called before it."""
    world = reach("pick")
    in_time_us = world.plan.signals[0].max_age_us
    assert {seen_us for _, seen_us in world.judge.signals} == {0}

    sent = []
    for at_us in (in_time_us, in_time_us + 1):
        end = CommandFinished(at_us, FORE, command_of(world, FORE), ())
        _, effects = decide(world.plan, world.state, end)
        sent.append([one.party for one in kinds_of(effects, SendDo)])

    assert sent == [[FORE], []]


def test_silent_party_is_asked_as_often_as_allowed_before_anybody_is_held() -> None:
    """A2: silence alone says nothing about what was done; the party's own ledger does."""
    world = reach("pick")
    held = len(holds_of(world, AFT))

    while len(holds_of(world, AFT)) == held:
        world.unanswered.clear()
        world.wait(100_000)

    asks = [one for one in kinds_of(world.effects, SendAsk) if one.party == FORE]
    assert len(asks) >= world.plan.timing.asks
    assert words_of(world, "hold")[-1].endswith("does not answer about pick")


def test_side_that_had_ended_its_part_of_a_span_does_all_of_it_again() -> None:
    """S6: what one side did before the other failed counts for nothing once both go back."""
    world = reach("confirm torque bolt 1 round 1", plan=load(SEQUENCES / "makeup_8.yaml").plan)
    world.feed(CommandFinished(world.now_us, FORE, command_of(world, FORE), ()))
    before, closing = len(world.sent[FORE]), "pulled (round 1, pair 1)"
    world.unanswered.clear()
    world.feed(CommandFaulted(world.now_us, AFT, command_of(world, AFT), "torque_not_reached"))

    run_until(world, lambda: world.plan.barriers[world.sent[FORE][-1].barrier].name == closing)

    again = [world.plan.nodes[one.node].name for one in world.sent[FORE][before:-1]]
    assert again[-2:] == ["pull bolt 1 round 1", "confirm torque bolt 1 round 1"]


def test_start_that_is_never_reported_takes_both_sides_back() -> None:
    """B5: starts that nobody has measured lie inside no window, however well the pull goes on."""
    world = reach("open")
    world.unanswered.clear()
    start_us = kinds_of(world.effects, SendRelease)[-1].start_us
    started = CommandStarted(world.now_us, AFT, command_of(world, AFT), start_us)
    world.feed(started)

    world.wait(start_us - world.now_us + world.plan.timing.acknowledge_us)

    assert words_of(world, "start_missing") == ["open: fore reported no start"]
    assert [len(holds_of(world, party)) for party in (FORE, AFT)] == [1, 1]
    assert world.state.phase == "running"


def test_good_end_with_a_result_outside_its_window_is_a_fault() -> None:
    """T5: A party that feels too little has not done what was asked, whatever it says."""
    world = reach("pull bolt 1 round 1", plan=load(SEQUENCES / "makeup_8.yaml").plan)
    end = CommandFinished(world.now_us, FORE, command_of(world, FORE), (("torque_nm", 1.0),))

    effects = world.feed(end)

    assert [one.fault for one in kinds_of(effects, WriteRecord)] == ["out_of_window"]
    assert world.state.lanes[FORE].at.fault == "out_of_window"
