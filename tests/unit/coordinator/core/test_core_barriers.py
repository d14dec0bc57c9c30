"""Barriers: nobody passes alone, and whoever is missing is named."""

from dataclasses import replace

from coordinator.core.effects import SendDisarm, SendRelease
from coordinator.core.events import CommandArmed, CommandProgressed, CommandRefused, CommandStarted
from tests.support.core_stories import (
    command_of,
    kinds_of,
    reach,
    reset_and_restart,
    run_until,
    words_of,
)
from tests.support.pair_plan import AFT, FORE, HOIST, MEET

EVERYBODY = (FORE, AFT, HOIST)


def _started_apart(apart_us: int) -> list[str]:
    world = reach("meet")
    start_us = kinds_of(world.effects, SendRelease)[0].start_us
    world.unanswered.clear()
    for party in EVERYBODY:
        late_us = apart_us if party == AFT else 0
        command = command_of(world, party)
        world.feed(CommandStarted(world.now_us, party, command, start_us + late_us))
    return words_of(world, "barrier_passed") + words_of(world, "out_of_step")


def test_last_confirmation_releases_everybody_at_one_time() -> None:
    """B1: a release before the last confirmation would let somebody pass alone."""
    world = reach("meet", armed=False)
    for party in (FORE, AFT):
        effects = world.feed(CommandArmed(world.now_us, party, command_of(world, party)))
        assert not kinds_of(effects, SendRelease)
    effects = world.feed(CommandArmed(world.now_us, HOIST, command_of(world, HOIST)))
    releases = kinds_of(effects, SendRelease)
    assert [release.party for release in releases] == [FORE, AFT, HOIST]
    due_us = world.now_us + world.plan.timing.lead_us
    assert [release.start_us for release in releases] == [due_us] * 3


def test_starts_inside_the_window_pass_and_the_difference_is_written() -> None:
    """B5: the difference is measured by the parties, and recorded."""
    assert _started_apart(50_000) == ["meet: started 50.0 ms apart"]


def test_starts_outside_the_window_are_warned_of() -> None:
    """B5: one microsecond beyond the window is outside."""
    assert _started_apart(50_001) == ["meet: started 50.0 ms apart, window 50.0 ms"]


def test_refusal_by_one_disarms_everybody() -> None:
    """B8: who is armed already must not stay so, waiting for a start that never comes."""
    world = reach("meet", armed=False)
    world.feed(CommandArmed(world.now_us, FORE, command_of(world, FORE)))
    refusal = CommandRefused(world.now_us, AFT, command_of(world, AFT), "busy")
    effects = world.feed(refusal)
    assert [one.party for one in kinds_of(effects, SendDisarm)] == [FORE, AFT, HOIST]
    assert "aft refused: busy" in world.state.reason


def test_confirmation_of_an_older_arming_does_nothing() -> None:
    """B4: it was armed for a meeting that has fallen through."""
    world = reach("meet", armed=False)
    older = [command_of(world, party) for party in EVERYBODY]
    world.feed(CommandRefused(world.now_us, AFT, older[AFT], "busy"))
    run_until(world, lambda: world.state.phase == "held")
    reset_and_restart(world)
    run_until(world, lambda: command_of(world, HOIST) > older[HOIST])
    for party in EVERYBODY:
        assert world.feed(CommandArmed(world.now_us, party, older[party])) == ()


def test_timeout_names_who_is_missing_and_nobody_else() -> None:
    """B9: a person must know where to look."""
    world = reach("pick")
    # Aft works on for longer than its partners are ready to wait.
    impatient = replace(world.plan.barriers[MEET], timeout_us=20_000_000)
    world.plan = replace(world.plan, barriers=(impatient, *world.plan.barriers[1:]))
    while world.state.phase == "running":
        if world.sent[AFT]:
            world.unanswered = [one for one in world.unanswered if one[0] != AFT]
            world.feed(CommandProgressed(world.now_us, AFT, command_of(world, AFT)))
        if not world.answer_one():
            world.wait(300_000)
    assert world.state.reason == "barrier meet: waited 20 s, missing: aft"


def test_silence_while_arming_blames_only_the_silent_party() -> None:
    """A party that has confirmed is not the one that does not answer."""
    world = reach("meet", armed=False)
    world.unanswered.clear()
    for party in (FORE, HOIST):
        world.feed(CommandArmed(world.now_us, party, command_of(world, party)))
    world.wait(3_000_000)
    assert "aft does not answer about meet" in world.state.reason
