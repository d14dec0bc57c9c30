"""See that no other coordinator is at work on a cell before ours begins.

Units: ``*_s`` seconds.
"""

import asyncio

from coordinator.live.coordinator import OutdatedCoordinator
from coordinator.live.link import Delivered, Link
from coordinator.wire.messages import PartyState
from coordinator.wire.topics import COORDINATOR

LISTEN_S = 1.5
"""Chosen: a broker hands out what it retains at once; a busy machine needs a while."""


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
