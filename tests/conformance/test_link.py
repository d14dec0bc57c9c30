"""Every link keeps the same promises, whatever carries it."""

import asyncio
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from coordinator.live.broker import EmbeddedBroker
from coordinator.live.link import (
    Broken,
    Delivered,
    Delivery,
    Dropped,
    LinkLost,
    LinkUnreachable,
    Presence,
    Restored,
)
from coordinator.live.mqtt_link import Address, MqttLink
from coordinator.wire.codec import encode
from coordinator.wire.messages import (
    Accepted,
    Body,
    Do,
    Finished,
    FloorSignals,
    Message,
    PartyState,
    Progressed,
    Trace,
)
from coordinator.wire.topics import subscriptions_of_coordinator, subscriptions_of_party
from tests.support.brokers import MOSQUITTO, free_port, mosquitto
from tests.support.buses import Bus, BusInMemory, BusOnBroker, collect, run_on

KINDS = [
    "memory",
    pytest.param("embedded", marks=pytest.mark.broker),
    pytest.param(
        "mosquitto",
        marks=[
            pytest.mark.broker,
            pytest.mark.skipif(MOSQUITTO is None, reason="Mosquitto is not installed"),
        ],
    ),
]


@pytest.fixture(scope="module")
def ports(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[[str], int]]:
    """Start each broker at its first use, and end it with the module."""
    running: dict[str, tuple[Any, int]] = {}

    def port_of(kind: str) -> int:
        if kind not in running:
            if kind == "embedded":
                broker = EmbeddedBroker()
                broker.start()
                running[kind] = (broker.__exit__, broker.port)
            else:
                folder: Path = tmp_path_factory.mktemp("mosquitto")
                context = mosquitto(folder)
                running[kind] = (context.__exit__, context.__enter__())
        return running[kind][1]

    yield port_of
    for leave, _ in running.values():
        leave(None, None, None)


@pytest.fixture(params=KINDS)
def bus(request: pytest.FixtureRequest, ports: Callable[[str], int]) -> Bus:
    """A bus with a cell of its own, so that tests on one broker do not hear each other."""
    cell = f"cell_{uuid.uuid4().hex[:8]}"
    if request.param == "memory":
        return BusInMemory(cell)
    return BusOnBroker(cell, ports(request.param))


def message(body: Body, *, sequence: int = 1, source: str = "fore", epoch: int = 3) -> Message:
    return Message(source, source, sequence, epoch, 1_700_000_000_000_000 + sequence, body)


def delivered(deliveries: list[Delivery]) -> list[Message]:
    return [one.message for one in deliveries if isinstance(one, Delivered)]


def enough(count: int) -> Callable[[list[Delivery]], bool]:
    return lambda deliveries: len(deliveries) >= count


def test_a_message_arrives_as_it_was_sent(bus: Bus) -> None:
    """WR4 end to end, with a trace larger than a broker's usual limit of 20 kB."""

    async def scenario(bus: Bus) -> None:
        near = await bus.link("near", subscriptions_of_coordinator(bus.cell))
        far = await bus.link("far", ())
        await near.open()
        await far.open()
        column = tuple(index / 7 for index in range(5_000))
        sent = message(Finished(4, {"torque_nm": 1234.5}, Trace(column, column, column, column)))

        await far.publish([sent])

        assert await collect(near, enough(1)) == [Delivered(sent)]
        await near.close()
        await far.close()

    run_on(bus, scenario)


def test_messages_of_one_sender_arrive_in_order(bus: Bus) -> None:
    """LV1: a report that overtakes another would tell a different story."""

    async def scenario(bus: Bus) -> None:
        near = await bus.link("near", subscriptions_of_coordinator(bus.cell))
        far = await bus.link("far", ())
        await near.open()
        await far.open()
        sent = [message(Accepted(number), sequence=number) for number in range(1, 201)]

        await far.publish(sent[:120])
        await far.publish(sent[120:])

        assert delivered(await collect(near, enough(200))) == sent
        await near.close()
        await far.close()

    run_on(bus, scenario)


def test_a_newcomer_gets_the_last_state_marked_as_retained(bus: Bus) -> None:
    """WR9: the broker's memory must be told from what is said now."""

    async def scenario(bus: Bus) -> None:
        far = await bus.link("far", ())
        await far.open()
        old, new = (message(PartyState(True, boot=boot), sequence=boot) for boot in (1, 2))
        signals = message(FloorSignals({"nobody_inside": True}), source="floor")
        await far.publish([old, new, signals])
        near = await bus.link("near", subscriptions_of_coordinator(bus.cell))
        await near.open()

        first = await collect(near, enough(2))
        await far.publish([old])
        then = await collect(near, enough(1))

        by_source = sorted(first, key=lambda one: delivered([one])[0].source)
        assert by_source == [Delivered(signals, True), Delivered(new, True)]
        assert then == [Delivered(old, False)]
        await near.close()
        await far.close()

    run_on(bus, scenario)


def test_a_command_is_not_kept_for_a_newcomer(bus: Bus) -> None:
    """WR1: an arm that wakes up must find no order from the past."""

    async def scenario(bus: Bus) -> None:
        far = await bus.link("far", ())
        await far.open()
        command = Message("coordinator", "fore", 1, 3, 0, Do(1, "park", "park"), 60_000_000)
        late = Message("coordinator", "fore", 2, 3, 0, Do(2, "park", "park"), 60_000_000)
        await far.publish([command])
        near = await bus.link("near", subscriptions_of_party(bus.cell, "fore"))
        await near.open()

        await far.publish([late])

        assert await collect(near, enough(1)) == [Delivered(late)]
        await near.close()
        await far.close()

    run_on(bus, scenario)


def test_junk_is_told_and_the_next_message_still_arrives(bus: Bus) -> None:
    """WR3: one bad driver must not blind the coordinator."""

    async def scenario(bus: Bus) -> None:
        near = await bus.link("near", subscriptions_of_coordinator(bus.cell))
        far = await bus.link("far", ())
        await near.open()
        await far.open()
        good = message(Accepted(1))

        await bus.post(f"bothsides/{bus.cell}/fore/report", b"{")
        await far.publish([good])
        deliveries = await collect(near, enough(2))

        dropped = [one.reason for one in deliveries if isinstance(one, Dropped)]
        assert delivered(deliveries) == [good]
        assert len(dropped) == 1
        assert "[LNK002]" in dropped[0]
        await near.close()
        await far.close()

    run_on(bus, scenario)


def test_a_message_on_a_foreign_topic_is_told_and_dropped(bus: Bus) -> None:
    """WR3: rights are given by topic, so a report must travel on its party's own."""

    async def scenario(bus: Bus) -> None:
        near = await bus.link("near", subscriptions_of_coordinator(bus.cell))
        await near.open()

        await bus.post(f"bothsides/{bus.cell}/aft/report", encode(message(Accepted(1))))
        deliveries = await collect(near, enough(1))

        assert delivered(deliveries) == []
        assert isinstance(deliveries[0], Dropped)
        assert "[LNK009]" in deliveries[0].reason
        await near.close()

    run_on(bus, scenario)


def test_a_cut_party_leaves_its_will(bus: Bus) -> None:
    """Wills mark a lost party sooner than its silence does."""

    async def scenario(bus: Bus) -> None:
        near = await bus.link("near", subscriptions_of_coordinator(bus.cell))
        birth, will = message(PartyState(True, boot=1)), message(PartyState(False), sequence=2)
        far = await bus.link("far", (), Presence(birth, will))
        await near.open()
        await far.open()
        first = await collect(near, enough(1))

        bus.cut("far")
        then = await collect(near, enough(1))

        assert delivered(first) == [birth]
        assert delivered(then) == [will]
        await near.close()
        await far.close()

    run_on(bus, scenario)


def test_a_party_that_leaves_in_good_order_leaves_no_will(bus: Bus) -> None:
    """A clean leave is no loss."""

    async def scenario(bus: Bus) -> None:
        near = await bus.link("near", subscriptions_of_coordinator(bus.cell))
        far = await bus.link("far", (), Presence(None, message(PartyState(False))))
        other = await bus.link("other", ())
        for link in (near, far, other):
            await link.open()
        marker = message(Progressed(1), source="aft")

        await far.close()
        await other.publish([marker])

        assert delivered(await collect(near, enough(1))) == [marker]
        await near.close()
        await other.close()

    run_on(bus, scenario)


def test_a_broken_link_is_told_then_mended_and_hears_again(bus: Bus) -> None:
    """LV2: nothing may rest on a session, so everything is subscribed anew."""

    async def scenario(bus: Bus) -> None:
        near = await bus.link("near", subscriptions_of_coordinator(bus.cell))
        far = await bus.link("far", ())
        await near.open()
        await far.open()

        bus.cut("near")
        broken = await collect(near, enough(1))
        with pytest.raises(LinkLost, match="LNK006"):
            await near.publish([message(Accepted(1))])
        bus.mend("near")
        restored = await collect(near, enough(1))
        after = message(Accepted(2))
        await far.publish([after])

        assert [type(one) for one in broken + restored] == [Broken, Restored]
        assert await collect(near, enough(1)) == [Delivered(after)]
        await near.close()
        await far.close()

    run_on(bus, scenario)


@pytest.mark.broker
def test_a_first_connect_that_nobody_answers_is_refused_in_one_line() -> None:
    """A wrong address must not look like a slow start."""

    async def scenario() -> str:
        link = MqttLink(Address(port=free_port()), "cell", (), "nobody")
        with pytest.raises(LinkUnreachable, match="LNK005") as caught:
            await asyncio.wait_for(link.open(), 5.0)
        return str(caught.value)

    text = asyncio.run(scenario())

    assert "\n" not in text
    assert "refused" in text.lower()


@pytest.mark.broker
def test_a_listener_that_is_no_broker_is_told_within_five_seconds() -> None:
    """A port that takes connections and says nothing is as good as none."""

    async def scenario() -> None:
        writers: list[asyncio.StreamWriter] = []
        server = await asyncio.start_server(
            lambda reader, writer: writers.append(writer), "127.0.0.1", 0
        )
        port = server.sockets[0].getsockname()[1]
        link = MqttLink(Address(port=port), "cell", (), "nobody")
        with pytest.raises(LinkUnreachable, match="LNK005"):
            await asyncio.wait_for(link.open(), 5.0)
        server.close()
        for writer in writers:
            writer.close()
            await writer.wait_closed()

    asyncio.run(scenario())


def test_a_bus_in_memory_that_is_down_is_unreachable() -> None:
    """The bus in memory fails as the others do."""
    bus = BusInMemory("cell")
    bus._bus.is_up = False

    async def scenario(bus: Bus) -> None:
        link = await bus.link("near", ())
        with pytest.raises(LinkUnreachable, match="LNK005"):
            await link.open()

    run_on(bus, scenario)
