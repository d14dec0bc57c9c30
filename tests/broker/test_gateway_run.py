"""The verb `gateway` as a program: a run that lives on the signals it brings, and commissioning."""

import asyncio
import contextlib
import json
import os
import subprocess
import sys
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from pymodbus.constants import ExcCodes
from typer.testing import CliRunner

from coordinator.cli.app import app
from coordinator.cli.documents.declared import schema_of_document
from coordinator.live.link import Delivered
from coordinator.live.mqtt_link import Address, MqttLink
from coordinator.wire.messages import FloorSignals
from tests.support.brokers import MOSQUITTO, free_port, mosquitto, wait_listening
from tests.support.controllers import (
    ModbusController,
    OpcUaController,
    modbus_controller,
    opc_ua_controller,
    put_good_floor,
    write_gateway_cell,
)
from tests.support.sequence_files import SEQUENCES
from tests.support.short_sequence import write_short_sequence

pytestmark = [pytest.mark.broker, pytest.mark.timeout(180)]
WAIT_S = 100.0
needs_mosquitto = pytest.mark.skipif(MOSQUITTO is None, reason="Mosquitto is not installed")


@contextlib.asynccontextmanager
async def program(*words: str) -> AsyncIterator[asyncio.subprocess.Process]:
    """Run the program; it ends with the test."""
    process = await asyncio.create_subprocess_exec(
        sys.executable,
        *("-m", "coordinator.cli.app", *words),
        stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
        # Lines come as they are told, not once a block is full.
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    try:
        yield process
    finally:
        if process.returncode is None:
            process.terminate()
        await asyncio.wait_for(process.communicate(), WAIT_S)


async def read_until(stream: asyncio.StreamReader | None, text: str) -> str:
    """Return the first line with a text in it."""
    assert stream is not None
    async with asyncio.timeout(WAIT_S):
        async for line in stream:
            if text in line.decode():
                return line.decode()
    raise AssertionError(f"'{text}' was never said")


class Controllers:
    """Both controllers of the cell; each can die."""

    def __init__(self) -> None:
        self.stacks = {"drive": contextlib.AsyncExitStack(), "deck": contextlib.AsyncExitStack()}
        self.drive = ModbusController()
        self.deck: OpcUaController | None = None

    async def __aenter__(self) -> "Controllers":
        self.drive = await self.stacks["drive"].enter_async_context(modbus_controller())
        self.deck = await self.stacks["deck"].enter_async_context(opc_ua_controller())
        await put_good_floor(self.drive, self.deck)
        return self

    async def __aexit__(self, *_: object) -> None:
        for stack in self.stacks.values():
            await stack.aclose()

    async def happen(self, what: str) -> None:
        """Let something happen on the floor."""
        assert self.deck is not None
        match what:
            case "somebody walks in":
                await self.deck.put("Floor.Clear", False)
            case "the string moves":
                self.drive.words["register", 1] = 0
            case "the program of the deck stands still":
                self.deck.is_alive = False
            case "the drive dies":
                await self.stacks["drive"].aclose()
            case _:
                raise AssertionError(what)


async def run_until(
    what: str, signal: str, folder: Path, port: int
) -> tuple[int | None, dict[str, Any], str]:
    """Run the short sequence on a floor where something happens in its midst.

    Returns:
        How `run` ended, its document, and what the gateway said of the signal then.
    """
    broker = ("--broker", f"mqtt://127.0.0.1:{port}")
    path = write_short_sequence(folder)
    async with contextlib.AsyncExitStack() as stack:
        floor = await stack.enter_async_context(Controllers())
        assert floor.deck is not None
        cell = write_gateway_cell(folder / "cells", floor.drive.port, floor.deck.port)
        gateway = await stack.enter_async_context(program("gateway", str(cell), *broker))
        common = ("--sequence", str(path), "--out", str(folder / "parties"), *broker)
        for party in (("arm", "fore"), ("arm", "aft"), ("floor", "--hoist-only")):
            await stack.enter_async_context(program(*party, *common))
        for name in ("string_still", "hydraulics_ready"):
            await read_until(gateway.stdout, f"{name}: yes")
        words = ("--elsewhere", "--json", "--out", str(folder / "out"))
        running = await stack.enter_async_context(program("run", str(path), *words, *broker))
        await read_until(running.stderr, "fore: change tool wrench")
        await floor.happen(what)
        told = await read_until(gateway.stdout, f" {signal}: ")
        said, _ = await asyncio.wait_for(running.communicate(), WAIT_S)
        return running.returncode, json.loads(said), told


@needs_mosquitto
@pytest.mark.parametrize(
    ("what", "signal", "told", "reason"),
    [
        ("somebody walks in", "floor_clear", "no", "person_on_floor"),
        ("the string moves", "string_still", "no", "string_moving"),
        ("the program of the deck stands still", "floor_clear", "unknown", "person_on_floor"),
        ("the drive dies", "string_still", "unknown", "string_moving"),
    ],
)
def test_a_run_holds_when_a_controller_says_no_or_says_nothing(
    tmp_path: Path, what: str, signal: str, told: str, reason: str
) -> None:
    """A signal that turns bad, a program that stops and a server that dies: nobody may move."""
    (tmp_path / "broker").mkdir()
    with mosquitto(tmp_path / "broker") as port:
        code, document, line = asyncio.run(run_until(what, signal, tmp_path, port))

    assert f"{signal}: {told}" in line
    assert (code, document["ended"]) == (3, "held")
    assert document["reason"].startswith(f"{reason}: ")


async def look(cell: Path, *words: str) -> tuple[int | None, str, str]:
    """Read once and return how the program ended and what it said."""
    async with program("gateway", str(cell), "--once", *words) as process:
        said, told = await asyncio.wait_for(process.communicate(), WAIT_S)
        return process.returncode, said.decode(), told.decode()


def test_reading_once_shows_every_signal_with_value_quality_and_age(tmp_path: Path) -> None:
    """Point by point, before there is a bus: what is read, and what it is taken for."""

    async def doing() -> None:
        async with Controllers() as floor:
            assert floor.deck is not None
            cell = write_gateway_cell(tmp_path, floor.drive.port, floor.deck.port)
            code, said, _ = await look(cell, "--json")
            document = json.loads(said)
            jsonschema.validate(document, schema_of_document("gateway"))
            found = {name: one["found"] for name, one in document["signals"].items()}

            assert (code, document["ok"]) == (0, True)
            assert found == {
                "floor_clear": True,
                "nothing_overhead": False,
                "hydraulics_ready": 205.0,
                "string_still": 16,
            }
            assert all(one["value"] is True for one in document["signals"].values())
            assert all(one["quality"] == "good" for one in document["signals"].values())
            assert all(0 <= one["age_us"] < 1_000_000 for one in document["signals"].values())

            floor.drive.refuses = ExcCodes.DEVICE_FAILURE
            code, said, _ = await look(cell)
            rows = {line.split()[0]: line for line in said.splitlines() if line.strip()}

            assert code == 1
            assert "register 1, bit 4" in rows["string_still"]
            assert "exception 4" in rows["string_still"]
            assert "205.0" in rows["hydraulics_ready"]

    asyncio.run(doing())


def test_a_cell_without_a_gateway_is_refused_in_one_line(tmp_path: Path) -> None:
    """Whoever has not written it yet must learn what is missing, and where."""
    text = (SEQUENCES / "cells" / "sill_point.yaml").read_text(encoding="utf-8")
    before, _, after = text.partition("\ngateway:")
    path = tmp_path / "cell.yaml"
    path.write_text(before + "\ninterlocks:" + after.partition("\ninterlocks:")[2])

    code, _, told = asyncio.run(look(path))

    assert code == 2
    assert "cell.yaml: cell has no 'gateway:'" in told


@needs_mosquitto
def test_over_the_secured_broker_the_gateway_speaks_as_the_floor(tmp_path: Path) -> None:
    """The rights that the broker gives the floor are all that a gateway needs."""
    assert MOSQUITTO is not None
    port, secured = free_port(), tmp_path / "secured"
    words = ["contract", str(SEQUENCES / "cells" / "sill_point.yaml")]
    words += ["--broker-config", str(secured), "--host", "127.0.0.1", "--port", str(port)]
    assert CliRunner().invoke(app, words).exit_code == 0
    broker = f"mqtts://127.0.0.1:{port}"
    parties = secured / "parties"

    async def doing() -> None:
        coordinator = Address.parse(broker).known_as("coordinator", parties)
        ear = MqttLink(coordinator, "sill_point", ("bothsides/sill_point/floor/signals",), "ear")
        async with Controllers() as floor:
            assert floor.deck is not None
            cell = write_gateway_cell(tmp_path, floor.drive.port, floor.deck.port)
            await ear.open()
            known = ("--broker", broker, "--secrets", str(parties))
            async with program("gateway", str(cell), *known):
                await wait_told(ear, value=True)
            await wait_told(ear, value=None)
            await ear.close()

    with (tmp_path / "log").open("wb") as log:
        mosquitto_conf = str(secured / "mosquitto.conf")
        process = subprocess.Popen([MOSQUITTO, "-c", mosquitto_conf], stdout=log, stderr=log)
        try:
            wait_listening(port)
            asyncio.run(doing())
        finally:
            process.terminate()
            process.wait(5)


async def wait_told(ear: MqttLink, *, value: bool | None) -> None:
    """Return once every signal on the bus is something."""
    async with asyncio.timeout(WAIT_S):
        while True:
            for one in await ear.wait_delivered():
                body = one.message.body if isinstance(one, Delivered) else None
                told = body.signals.values() if isinstance(body, FloorSignals) else ()
                if told and all(one is value for one in told):
                    return
