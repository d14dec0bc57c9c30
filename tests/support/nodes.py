"""Run a test's party on a link in real time."""

import asyncio
import time

from coordinator.live.link import Delivered, Link
from tests.support.obedient import ObedientParty


def clock_us() -> int:
    """Return the cell's clock."""
    return time.time_ns() // 1_000


async def run_node(party: ObedientParty, link: Link) -> None:
    """Run until cancelled."""
    await link.open()
    waiting = asyncio.create_task(link.wait_delivered())
    try:
        while True:
            await link.publish(party.advance(clock_us()))
            wait_s = max((party.next_us() - clock_us()) / 1e6, 0.0)
            await asyncio.wait({waiting}, timeout=wait_s)
            if waiting.done():
                for delivery in waiting.result():
                    if isinstance(delivery, Delivered):
                        answers = party.receive(delivery.message, clock_us(), delivery.retained)
                        await link.publish(answers)
                waiting = asyncio.create_task(link.wait_delivered())
    finally:
        waiting.cancel()
        await link.close()
