"""The verb `commission points` on a real broker: what is said on the bus ticks the sheet."""

import asyncio
import json
import sys
from pathlib import Path
from typing import Any

import pytest

from coordinator.live.mqtt_link import Address, MqttLink
from coordinator.operate.cell_clock import CellClock
from coordinator.wire.messages import Body, FloorSignals, Message, PartyState
from tests.support.brokers import MOSQUITTO, mosquitto
from tests.support.short_sequence import write_short_sequence

pytestmark = [pytest.mark.broker, pytest.mark.timeout(60)]
CELL = "sill_point"
GOOD = ("floor_clear", "string_still", "nothing_overhead", "hydraulics_ready")
CLOCK = CellClock()


class Cell:
    """A floor with its hoist, and an arm that calls itself real, said by us."""

    def __init__(self, port: int) -> None:
        self._link = MqttLink(Address(port=port), CELL, (), "cell")
        self._number = 0

    async def say(self, source: str, body: Body) -> None:
        """Say one thing as a party."""
        self._number += 1
        await self._link.publish([Message(source, source, self._number, 1, CLOCK(), body)])

    async def play(self) -> None:
        """Show every signal both ways and silent, every tool mounted and off, every state."""
        await self._link.open()
        try:
            while True:
                await self._round()
        finally:
            await self._link.close()

    async def _round(self) -> None:
        await self.say("hoist", PartyState(online=True, simulated=False))
        for value in (True, False, None):
            await self.say("floor", FloorSignals(dict.fromkeys(GOOD, value)))
            await asyncio.sleep(0.05)
        for tool in ("gripper", "spinner", "wrench"):
            for state in ("held", "idle", "running"):
                body = PartyState(True, 1, state, simulated=False, tool=tool)
                await self.say("fore", body)
        await self.say("fore", PartyState(online=False))
        await asyncio.sleep(0.05)


async def points(folder: Path, port: int, *options: str) -> tuple[int, dict[str, Any]]:
    """Run the verb while the cell plays; return how it ended and its document."""
    playing = asyncio.create_task(Cell(port).play())
    words = ["-m", "coordinator.cli.app", "commission", "points", "--json"]
    words += [str(folder / "small.yaml"), "--book", str(folder / "book"), *options]
    try:
        process = await asyncio.create_subprocess_exec(
            sys.executable, *words, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE
        )
        said, told = await process.communicate()
    finally:
        playing.cancel()
        await asyncio.gather(playing, return_exceptions=True)
    assert said, told.decode()
    return process.returncode or 0, json.loads(said)


@pytest.mark.skipif(MOSQUITTO is None, reason="Mosquitto is not installed")
def test_the_bus_ticks_what_it_shows_and_a_person_what_it_cannot(tmp_path: Path) -> None:
    """Readings come only with work; what is seen at the gauge is entered by name."""
    write_short_sequence(tmp_path)
    (tmp_path / "broker").mkdir()
    with mosquitto(tmp_path / "broker") as port:
        broker = ("--broker", f"mqtt://127.0.0.1:{port}", "--by", "Ada", "--seconds", "5")

        code, document = asyncio.run(points(tmp_path, port, *broker, "--party", "floor"))

        assert (code, document["ok"]) == (1, False)
        left = {one["tag"]: one["missing"] for one in document["points"] if one["missing"]}
        assert left == {"floor/link": ["gone"]}
        code, document = asyncio.run(points(tmp_path, port, *broker, "--party", "fore"))
    left = {one["tag"]: one["missing"] for one in document["points"] if one["missing"]}
    readings = ("angle_rad", "pressure_pa", "strokes", "torque_nm")
    assert left == {f"fore/reading/{name}": ["a number"] for name in readings}
    entered = [word for name in readings for word in ("--enter", f"fore/reading/{name}=a number")]

    code, document = asyncio.run(
        points(tmp_path, port, *entered, "--by", "Ben", "--why", "read at the gauge")
    )

    by = {
        one["tag"]: {(two["how"], two["by"]) for two in one["seen"]} for one in document["points"]
    }
    assert by["fore/reading/torque_nm"] == {("person", "Ben")}
    assert by["fore/tool/wrench"] == {("bus", "Ada")}
    assert code == 1  # The other arm was never there.
