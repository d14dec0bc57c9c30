"""A hold as a story: what an arm says of itself stands in it."""

from coordinator.core.decide import begin
from coordinator.core.effects import Notify
from coordinator.core.events import CommandInterrupted, PartyHeld
from coordinator.core.state import Phase
from coordinator.live.hold_stories import HoldStories
from tests.support.pair_plan import pair_plan


def test_why_an_arm_held_by_itself_stands_beneath_the_hold() -> None:
    """ST1: 'aft held by itself' alone left people to guess; the arm had said why."""
    plan = pair_plan()
    stories, state = HoldStories(plan), begin(plan)
    hold = Notify("warning", "hold", "aft held by itself")

    stories(CommandInterrupted(1_000_000, 1, 7), (hold,), state)
    stories(PartyHeld(1_200_000, 1, 0, "no fresh lease"), (), state)
    stories(PartyHeld(1_300_000, 0, 9, "told to"), (), state._replace(phase=Phase.HELD))

    assert stories.told[0].lines() == [
        "HOLD at 1.0 s: aft held by itself",
        "        +0.20 s aft held by itself: no fresh lease",
    ]
