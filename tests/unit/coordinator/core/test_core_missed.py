"""Messages found missing: told, asked about, and nothing moves or holds because of them."""

import pytest

from coordinator.core.effects import Notify, SendAsk
from coordinator.core.events import Act, MessagesMissed
from tests.support.core_stories import command_of, reach
from tests.support.pair_plan import FORE


@pytest.mark.parametrize("by_party", [False, True])
def test_a_gap_asks_about_the_live_command_and_changes_nothing_else(by_party: bool) -> None:
    """Its report may be what was lost; missing messages alone must not hold anybody."""
    world = reach("pick")
    command, before = command_of(world, FORE), world.state
    effects = world.feed(MessagesMissed(world.now_us, FORE, 3, by_party))

    asked = [one.command for one in effects if isinstance(one, SendAsk)]
    told = [one.kind for one in effects if isinstance(one, Notify)]
    assert asked == ([command] if by_party else [0, command])
    assert told == ["messages_missed"]
    assert len(effects) == len(asked) + 1
    assert world.state == before
    assert world.behave() == "complete"


def test_gaps_without_end_never_use_up_the_asks_of_the_timers() -> None:
    """A party that answers every timer must not count as silent because the bus sheds much."""
    world = reach("pick")
    for _ in range(50):
        world.feed(MessagesMissed(world.now_us, FORE, 1))
    world.unanswered.clear()

    assert world.behave() == "complete"


def test_nothing_is_asked_of_a_command_that_was_told_to_hold() -> None:
    """The hold has asked already, and an answer must not be taken for the one to the hold."""
    world = reach("pick")
    world.act(Act.HOLD)
    effects = world.feed(MessagesMissed(world.now_us, FORE, 1))

    assert [one.command for one in effects if isinstance(one, SendAsk)] == [0]


def test_the_floors_gap_is_told_and_asks_nobody() -> None:
    """Every signal comes with each of its messages: the one that showed the gap is the snapshot."""
    world = reach("pick")
    effects = world.feed(MessagesMissed(world.now_us, -1, 2))

    assert [type(one) for one in effects] == [Notify]
