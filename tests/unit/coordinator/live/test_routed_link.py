"""Two buses behind one link: who is heard and commanded where, and what is compared."""

import asyncio
from collections.abc import Sequence

import pytest

from coordinator.live.link import Delivered, Delivery, Dropped
from coordinator.live.routed_link import RoutedLink
from coordinator.live.shadow import Comparison
from coordinator.live.standing import Standing, Standings
from coordinator.wire.messages import (
    Accepted,
    Body,
    Do,
    Faulted,
    Finished,
    FloorSignals,
    Hold,
    Lease,
    Message,
    PartyState,
    Started,
)
from coordinator.wire.topics import subscriptions_of_coordinator
from tests.support.memory_bus import MemoryBus

CELL = "cell"
S = 1_000_000
STOOD = {"fore": "real", "aft": "shadow", "floor": "simulated"}
ALL = tuple(f"bothsides/{CELL}/+/{word}" for word in ("command", "lease", "state"))


def standings(**each: str) -> Standings:
    """Let parties stand as named."""
    return Standings(tuple((name, Standing(word)) for name, word in each.items()), "hoist")


def said(source: str, body: Body, subject: str = "") -> Message:
    """Say something."""
    return Message(source, subject or source, 1, 1, 0, body)


class Two:
    """A routed link with a listener on each bus."""

    def __init__(self, **each: str) -> None:
        self.ours, self.theirs = MemoryBus(), MemoryBus()
        self.comparison = Comparison(standings(**each))
        topics = subscriptions_of_coordinator(CELL)
        self.link = RoutedLink(
            self.ours.link(CELL, topics),
            self.theirs.link(CELL, topics),
            standings(**each),
            self.comparison,
            lambda: 0,
        )

    async def sent(self, *messages: Message) -> tuple[list[Message], list[Message]]:
        """Publish, and return what came on our bus and on theirs."""
        ends = [bus.link(CELL, ALL) for bus in (self.ours, self.theirs)]
        for end in ends:
            await end.open()
        await self.link.open()
        await self.link.publish(messages)
        found: list[list[Message]] = []
        for end in ends:
            try:
                async with asyncio.timeout(0.05):
                    deliveries = await end.wait_delivered()
            except TimeoutError:
                deliveries = ()
            found.append([one.message for one in deliveries if isinstance(one, Delivered)])
        await self.link.close()
        return found[0], found[1]

    async def heard(self, ours: Sequence[Message], theirs: Sequence[Message]) -> list[Delivery]:
        """Let parties speak on both buses, and return what the coordinator hears."""
        await self.link.open()
        for bus, messages in ((self.ours, ours), (self.theirs, theirs)):
            party = bus.link(CELL, ())
            await party.open()
            await party.publish(messages)
        found: list[Delivery] = []
        try:
            while True:
                async with asyncio.timeout(0.05):
                    found += await self.link.wait_delivered()
        except TimeoutError:
            await self.link.close()
        return found


def sources(found: Sequence[Delivery]) -> list[str]:
    """Return who was heard."""
    return sorted(one.message.source for one in found if isinstance(one, Delivered))


def test_only_what_is_for_a_real_party_goes_onto_the_real_bus() -> None:
    """LV8: A command for a party in shadow would move steel that nobody watches."""
    messages = [said("coordinator", Do(1, "s", "park"), one) for one in ("fore", "aft", "hoist")]
    messages.append(said("coordinator", Lease(1), "all"))

    ours, theirs = asyncio.run(Two(**STOOD).sent(*messages))

    assert [one.subject for one in ours] == ["fore", "aft", "hoist", "all"]
    assert [one.subject for one in theirs] == ["fore", "all"]


def test_a_run_with_nothing_real_sends_nothing_onto_the_real_bus_not_even_a_lease() -> None:
    """LV8: live inputs, no outputs."""
    messages = [said("coordinator", body, "aft") for body in (Hold("x", 1), Do(2, "s", "park"))]
    messages.append(said("coordinator", Lease(1), "all"))

    _, theirs = asyncio.run(Two(fore="simulated", aft="shadow", floor="shadow").sent(*messages))

    assert theirs == []


def test_that_we_are_there_and_leave_is_told_only_where_we_command() -> None:
    """A broker that goes on telling of us would keep the next coordinator out."""
    gone = said("coordinator", PartyState(online=False))

    _, theirs = asyncio.run(Two(**STOOD).sent(gone))
    assert theirs == [gone]
    _, theirs = asyncio.run(Two(fore="shadow", aft="simulated", floor="shadow").sent(gone))
    assert theirs == []


def test_each_party_is_heard_from_one_bus_alone() -> None:
    """Two truths about one arm would be none."""
    everybody = [said(one, Accepted(1)) for one in ("fore", "aft", "hoist")]

    found = asyncio.run(Two(**STOOD).heard(everybody, []))
    assert sources(found) == ["aft", "hoist"]
    found = asyncio.run(Two(**STOOD).heard([], everybody))
    assert sources(found) == ["fore"]


def test_a_real_party_that_calls_itself_simulated_is_told_once_and_not_heard() -> None:
    """LV9: somebody has left a simulation on the bus of the real cell."""
    beat = said("fore", PartyState(online=True, simulated=True))

    found = asyncio.run(Two(**STOOD).heard([], [beat, beat, said("fore", Accepted(1))]))

    assert found == [Dropped("'fore' calls itself simulated, must be real: not heard")]


def compared(each: dict[str, str]) -> Comparison:
    """Return a fresh comparison."""
    return Comparison(standings(**each))


def test_a_lasting_difference_is_told_with_both_values_and_a_flicker_is_not() -> None:
    """Predicted against seen: the reader needs both, and for how long."""
    found = compared({"floor": "shadow"})
    predicted = said("floor", FloorSignals({"clear": True, "still": True}))
    found.predicted(predicted, 0)
    found.seen(said("floor", FloorSignals({"clear": False, "still": True})), 1 * S)
    found.seen(said("floor", FloorSignals({"clear": True, "still": None})), 2 * S)
    found.seen(said("floor", FloorSignals({"clear": True, "still": True})), 5 * S)

    report = found.report(6 * S)

    assert report["differences"] == 1
    (one,) = report["listed"]
    assert (one["what"], one["predicted"], one["seen"]) == ("signal still", True, None)
    assert (one["begin_s"], one["for_s"]) == (2.0, 3.0)


@pytest.mark.parametrize(("beats_s", "is_heard"), [((0, 3, 6, 9), True), ((0, 3, 8, 9), False)])
def test_silence_is_told_and_never_taken_for_agreement(
    beats_s: tuple[int, ...], is_heard: bool
) -> None:
    """LV10: A cable that was never plugged in shows no difference either."""
    found = compared({"fore": "shadow", "aft": "shadow"})
    for at_s in beats_s:
        found.seen(said("fore", PartyState(online=True, simulated=False)), at_s * S)

    parties = found.report(10 * S)["parties"]

    assert parties["fore"]["heard_throughout"] is is_heard
    assert parties["aft"]["heard_throughout"] is False


def test_a_party_in_shadow_that_works_untold_is_told() -> None:
    """Somebody else commands it: its shadow proves nothing about us."""
    found = compared({"fore": "shadow"})
    found.seen(said("fore", PartyState(True, 1, "running", simulated=False, running=9)), S)

    assert found.report(2 * S)["parties"]["fore"]["moved_untold"] == ["0.0 s: fore is at work"]


def test_the_ends_of_one_command_are_compared_by_outcome_figures_and_time() -> None:
    """A real pull that comes out otherwise than predicted is why one commissions slowly."""
    found = compared({"fore": "real"})
    for command, (torque_nm, end_s) in enumerate([(1010.0, 10), (2000.0, 14)], start=1):
        found.predicted(said("fore", Started(command, 0)), 0)
        found.seen(said("fore", Started(command, 0)), 0)
        found.predicted(said("fore", Finished(command, {"torque_nm": 1000.0})), 10 * S)
        found.seen(said("fore", Finished(command, {"torque_nm": torque_nm})), end_s * S)
    found.predicted(said("fore", Finished(3)), 20 * S)
    found.seen(said("fore", Faulted(3, "leak")), 20 * S)

    report = found.report(20 * S)

    assert report["commands_compared"] == 3
    assert [(one["what"], one["predicted"], one["seen"]) for one in report["listed"]] == [
        ("command 2 torque_nm", 1000.0, 2000.0),
        ("command 2 took_s", 10.0, 14.0),
        ("command 3 ended", "finished", "leak"),
    ]
