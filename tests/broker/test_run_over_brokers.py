"""A whole run over a real broker: same runtime, same arms, another carrier."""

import asyncio
import uuid
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from coordinator.core.events import MessagesMissed
from coordinator.core.plan import Timing
from coordinator.live.broker import EmbeddedBroker
from coordinator.live.coordinator import Coordinator, Observers
from coordinator.live.gap_watch import PATIENCE_US
from coordinator.live.mqtt_link import Address, MqttLink
from coordinator.live.operator import OperatorScript
from coordinator.live.runtime import Outcome, Runtime
from coordinator.records.journal import Head, Journal
from coordinator.records.replaying import replay
from coordinator.wire.messages import AskState
from coordinator.wire.topics import subscriptions_of_coordinator, subscriptions_of_party
from tests.support.brokers import MOSQUITTO, mosquitto
from tests.support.nodes import clock_us, run_node
from tests.support.obedient import ObedientParty
from tests.support.small_plan import small_plan

pytestmark = pytest.mark.broker
WAIT_S = 20.0


async def run_over(
    port: int, journal: Journal, arms: Sequence[ObedientParty]
) -> tuple[Outcome, Coordinator]:
    """Run the small plan with two arms, each on a link of its own."""
    cell = f"cell_{uuid.uuid4().hex[:8]}"
    plan = replace(small_plan(), timing=Timing(lead_us=100_000))
    coordinator = Coordinator(plan, epoch=2, origin_us=clock_us(), observers=Observers(journal))

    def link(name: str, subscriptions: tuple[str, ...]) -> MqttLink:
        return MqttLink(Address(port=port), cell, subscriptions, f"{cell}-{name}")

    nodes = [
        asyncio.create_task(run_node(arm, link(arm.name, subscriptions_of_party(cell, arm.name))))
        for arm in arms
    ]
    runtime = Runtime(
        coordinator,
        link("coordinator", subscriptions_of_coordinator(cell)),
        clock_us,
        script=OperatorScript(plan),
    )
    try:
        return await asyncio.wait_for(runtime.run(), WAIT_S), coordinator
    finally:
        for node in nodes:
            node.cancel()
        await asyncio.gather(*nodes, return_exceptions=True)


def check_run(port: int, folder: Path, loses: int = 0) -> None:
    path = folder / "journal.log"
    journal = Journal.create(path, Head("run", "d" * 64))

    # Long enough for what is lost to count as lost, and not as overtaken on another topic.
    work_us = 2 * PATIENCE_US if loses else 600_000
    arms = [ObedientParty("fore"), ObedientParty("aft", work_us=work_us, loses=loses)]
    outcome, coordinator = asyncio.run(run_over(port, journal, arms))
    journal.close()

    again = Journal.open(path)
    assert outcome.phase == "complete"
    assert coordinator.dropped == {}
    assert again.verify() is None
    assert replay(coordinator.plan, again).state == coordinator.state
    gaps = [event for event in again.read_events() if isinstance(event, MessagesMissed)]
    assert bool(gaps) is bool(arms[1].lost)
    assert {one.party for one in gaps} <= {1}
    assert sum(one.missed for one in gaps) <= arms[1].lost
    assert (AskState() in arms[1].obeyed) is bool(gaps)
    assert AskState() not in arms[0].obeyed
    again.close()


def test_a_run_over_the_embedded_broker_ends_complete(tmp_path: Path) -> None:
    """The default of the product."""
    with EmbeddedBroker() as broker:
        check_run(broker.port, tmp_path)


@pytest.mark.skipif(MOSQUITTO is None, reason="Mosquitto is not installed")
def test_a_run_over_mosquitto_ends_complete(tmp_path: Path) -> None:
    """What production uses."""
    with mosquitto(tmp_path) as port:
        check_run(port, tmp_path)


@pytest.mark.skipif(MOSQUITTO is None, reason="Mosquitto is not installed")
def test_what_an_arm_said_and_nobody_got_is_journalled_asked_about_and_holds_nobody(
    tmp_path: Path,
) -> None:
    """Gap, then snapshot again; a run in which nothing is lost (above) notices nothing."""
    with mosquitto(tmp_path) as port:
        check_run(port, tmp_path, loses=3)
