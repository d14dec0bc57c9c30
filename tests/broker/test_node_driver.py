"""A driver in another language, written from the contract alone, passes the same acceptance."""

import asyncio
import contextlib
import shutil
import subprocess
import time
from pathlib import Path

import pytest

from coordinator.cli.commission.arm_verb import keep_in_broker
from coordinator.commissioning.acceptance import Report, accept
from coordinator.commissioning.probe import Motion, Probe
from coordinator.live.broker import EmbeddedBroker
from coordinator.live.mqtt_link import Address, MqttLink
from coordinator.wire.messages import FloorSignals, Message
from coordinator.wire.topics import subscriptions_of_coordinator

NODE = shutil.which("node")
DRIVER = Path(__file__).parents[1] / "support" / "node_driver" / "driver.js"
CELL = "bench"
pytestmark = [pytest.mark.broker, pytest.mark.skipif(NODE is None, reason="Node is not installed")]


def clock_us() -> int:
    return time.time_ns() // 1_000


class NodeDriver:
    """The driver as a process that can be switched off and on."""

    def __init__(self, port: int, folder: Path) -> None:
        words = ["127.0.0.1", str(port), CELL, "fore", str(folder / "ledger.json")]
        self._words = [str(NODE), str(DRIVER), *words]
        self._log = folder / "driver.log"
        self._process = self._start()

    def _start(self) -> "subprocess.Popen[bytes]":
        with self._log.open("ab") as log:
            return subprocess.Popen(self._words, stdout=log, stderr=log)

    def restart(self) -> None:
        """Kill it without a word, and start it anew."""
        self.stop()
        self._process = self._start()

    def stop(self) -> None:
        """End it."""
        self._process.kill()
        self._process.wait()


async def look(port: int, driver: NodeDriver) -> Report:
    """Take the driver through every line; floor and person are ours."""
    floor = MqttLink(Address(port=port), CELL, (), "floor")
    is_good = [True]

    async def say_floor() -> None:
        await floor.open()
        for number in range(10**9):
            body = FloorSignals({"floor_clear": is_good[0]})
            await floor.publish([Message("floor", "floor", number, 1, clock_us(), body)])
            await asyncio.sleep(0.2)

    def person(what: str) -> None:
        if "signal" in what:
            is_good[0] = "good again" in what
        else:
            driver.restart()

    async def memory(message: Message, is_kept: bool) -> None:
        await keep_in_broker(Address(port=port), CELL, message, is_kept=is_kept)

    topics = subscriptions_of_coordinator(CELL)
    link = MqttLink(Address(port=port), CELL, topics, "acceptance")
    motions = [Motion("change_tool", {"tool": one}) for one in ("spinner", "wrench")]
    probe = Probe(
        link, "fore", clock_us, motions, torque=("pull", "torque"), person=person, memory=memory
    )
    probe.start_late_s_max = 0.5  # A machine that tests much at once wakes up late.
    task = asyncio.create_task(say_floor())
    try:
        return await accept(probe, cell=CELL, by="Ada", at="2030-01-01T00:00:00Z")
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task
        await floor.close()


def test_a_driver_in_another_language_passes_every_line(tmp_path: Path) -> None:
    """The contract is what stands in the documents, not what our own code happens to do."""
    with EmbeddedBroker() as broker:
        driver = NodeDriver(broker.port, tmp_path)
        try:
            report = asyncio.run(look(broker.port, driver))
        finally:
            driver.stop()

    told = [(one.code, one.text) for one in report.seen if one.result != "passed"]
    assert told == [], (tmp_path / "driver.log").read_text()
    assert (report.is_passed, report.simulated) == (True, False)
