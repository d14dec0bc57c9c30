"""Run a sequence in real time on a bus, alone on its cell, with simulated parties or real ones."""

import asyncio
import contextlib
import time

from coordinator.live.broker import EmbeddedBroker
from coordinator.live.coordinator import OutdatedCoordinator
from coordinator.live.link import Delivered, Link
from coordinator.live.mqtt_link import Address, MqttLink
from coordinator.operate.run_link import Buses
from coordinator.operate.secrets_folder import address_for
from coordinator.operate.session import Session
from coordinator.operate.wishes import LiveResult, Resumption, Wishes
from coordinator.wire.messages import PartyState
from coordinator.wire.topics import COORDINATOR, ROOT

LISTEN_S = 1.5
"""Chosen: a broker hands out what it retains at once; a busy machine needs a while."""
__all__ = ["LiveResult", "Resumption", "Wishes", "run_live"]


def run_live(
    wishes: Wishes, broker: str | None = None, resumption: Resumption | None = None
) -> LiveResult:
    """Run a sequence to its end, or until it is held with nobody there to go on.

    Args:
        wishes: What is asked of the run.
        broker: ``mqtt://host:port``; None to start one here.
        resumption: A run to go on with; None to begin one.

    Raises:
        ValueError: wishes that do not go together, a bad address, a folder that cannot be made.
        LinkUnreachable: LNK005.
        BrokerFailed: LNK010.
        JournalFailed: JNL001.
        RecordsFailed: REC001.
        OutdatedCoordinator: LNK008; LNK012, another coordinator is at work on the cell.
    """
    wishes.require_sound(broker)
    with contextlib.ExitStack() as stack:
        if broker is not None and (wishes.stands.is_all_simulated or wishes.stands.has_real):
            # Before anything is made: a wrong address should leave nothing behind.
            asyncio.run(_look_around(address_for(broker, COORDINATOR), wishes))
        ours = broker
        if broker is None or (wishes.has_simulation and not wishes.stands.is_all_simulated):
            # Simulated parties never stand on the bus of the real ones, whose names they have.
            own = stack.enter_context(EmbeddedBroker())
            ours = f"mqtt://{own.host}:{own.port}"
        return Session(wishes, Buses(ours or "", broker), resumption).run()


async def _look_around(address: Address, wishes: Wishes) -> None:
    """Connect for a moment; see that nobody else coordinates the cell."""
    cell = wishes.loaded.cell.cell
    topics = () if wishes.take_over else (f"{ROOT}/{cell}/coordinator/state",)
    link = MqttLink(address, cell, topics, f"{ROOT}-probe-{time.time_ns()}")
    await link.open()
    try:
        if not wishes.take_over:
            await require_alone(link, cell)
    finally:
        await link.close()


async def require_alone(link: Link, cell: str) -> None:
    """Listen to what the broker knows of a coordinator of the cell.

    Args:
        link: Open, and subscribed to the coordinator's state.
        cell: Its name, for the message.

    Raises:
        OutdatedCoordinator: LNK012, one is there. The broker takes its state back as soon as its
            link breaks; what an earlier broker has kept wrongly is passed with a take-over.
    """
    is_there = False
    try:
        async with asyncio.timeout(LISTEN_S):
            while True:
                for delivery in await link.wait_delivered():
                    if not isinstance(delivery, Delivered):
                        continue
                    source, body = delivery.message.source, delivery.message.body
                    if isinstance(body, PartyState) and source == COORDINATOR:
                        is_there = body.online
    except TimeoutError:
        pass
    if is_there:
        raise OutdatedCoordinator(
            f"MQTT 'coordinator': another coordinator is at work on cell '{cell}'; end it first, "
            "or take the cell over from one that is gone with --take-over [LNK012]"
        )
