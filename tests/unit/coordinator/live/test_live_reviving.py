"""A coordinator whose process dies in virtual time, and the one that comes after it."""

from coordinator.core.events import Act
from coordinator.live.coordinator import Coordinator
from coordinator.live.operator import OperatorScript
from coordinator.live.reviving import RevivingCoordinator
from coordinator.wire.messages import Message, PartyState
from tests.support.small_plan import small_plan


def test_what_was_heard_and_led_to_nothing_dies_with_the_process() -> None:
    """J5: only what was committed before effects left may be known to the next coordinator."""
    plan = small_plan()
    reviving = RevivingCoordinator(Coordinator(plan, epoch=4), OperatorScript(plan))
    for name in ("fore", "aft"):
        reviving.coordinator.receive(Message(name, name, 1, 4, 0, PartyState(True, boot=7)), 10)
    before = reviving.coordinator.state
    reviving.revive(20)
    unheard = reviving.coordinator.state
    for name in ("fore", "aft"):
        reviving.coordinator.receive(Message(name, name, 1, 5, 0, PartyState(True, boot=7)), 30)
    reviving.coordinator.act(Act.START, "mate", 40)
    reviving.revive(50)
    started = reviving.coordinator.state

    assert [one.party.online for one in before.lanes] == [True, True]
    assert [one.party.online for one in unheard.lanes] == [False, False]
    assert (unheard.phase, started.phase) == ("idle", "holding")
