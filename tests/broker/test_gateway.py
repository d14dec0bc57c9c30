"""The gateway between real servers of OPC UA and Modbus TCP and a bus."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from asyncua import ua
from asyncua.crypto.cert_gen import (
    dump_private_key_as_pem,
    generate_private_key,
    generate_self_signed_app_certificate,
)
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509 import UniformResourceIdentifier
from cryptography.x509.oid import ExtendedKeyUsageOID
from pymodbus.constants import ExcCodes

from coordinator.gateway.bridge import Bridge
from coordinator.gateway.desk import Place, Reading, Readings, Told
from coordinator.gateway.modbus import ModbusSource
from coordinator.gateway.opc_ua import OpcUaSource
from coordinator.gateway.source import Access, Source, SourceLost, access_of
from coordinator.live.link import Delivered
from coordinator.sequence import read_cell
from coordinator.sequence.models.gateway_model import GatewaySourceModel
from coordinator.wire.messages import FloorSignals
from tests.support.brokers import free_port
from tests.support.controllers import (
    DEVICE,
    NAMESPACE,
    ModbusController,
    OpcUaController,
    modbus_controller,
    opc_ua_controller,
    put_good_floor,
    write_gateway_cell,
)
from tests.support.memory_bus import MemoryBus, MemoryLink
from tests.support.nodes import clock_us

pytestmark = [pytest.mark.broker, pytest.mark.timeout(200)]
CELL = "sill_point"
WAIT_S = 60.0
GOOD = {
    "floor_clear": True,
    "string_still": True,
    "nothing_overhead": True,
    "hydraulics_ready": True,
}
DECK = ("floor_clear", "nothing_overhead", "hydraulics_ready")
"""What is read from the controller on deck; the rest is read from the hoist's drive."""
Signals = Mapping[str, bool | None]


@dataclass
class Floor:
    """Two controllers, the gateway that reads them, and somebody who listens on the bus."""

    drive: ModbusController
    deck: OpcUaController
    bridge: Bridge
    bus: MemoryBus
    ear: MemoryLink
    link: MemoryLink
    servers: dict[str, contextlib.AsyncExitStack]
    said: list[str] = field(default_factory=list)
    shown: list[Mapping[str, Told]] = field(default_factory=list)

    async def wait_heard(self, is_it: Callable[[Signals], bool]) -> Signals:
        """Return the first signals on the bus, from now on, of which something is true."""
        async with asyncio.timeout(WAIT_S):
            while True:
                for one in await self.ear.wait_delivered():
                    body = one.message.body if isinstance(one, Delivered) else None
                    if isinstance(body, FloorSignals) and is_it(body.signals):
                        return body.signals

    async def wait_good(self) -> None:
        """Return once everything is as work needs it."""
        await self.wait_heard(lambda signals: dict(signals) == GOOD)


@contextlib.asynccontextmanager
async def floor(folder: Path) -> AsyncIterator[Floor]:
    """Bring both controllers and the gateway up; what is read is good."""
    async with contextlib.AsyncExitStack() as stack:
        servers = {"drive": contextlib.AsyncExitStack(), "deck": contextlib.AsyncExitStack()}
        for own in servers.values():
            stack.push_async_exit(own)
        drive = await servers["drive"].enter_async_context(modbus_controller())
        deck = await servers["deck"].enter_async_context(opc_ua_controller())
        await put_good_floor(drive, deck)
        cell = read_cell(write_gateway_cell(folder, drive.port, deck.port))
        assert cell.gateway is not None
        sources: dict[str, Source] = {
            "deck_controller": OpcUaSource(cell.gateway.sources["deck_controller"], Access()),
            "hoist_drive": ModbusSource(cell.gateway.sources["hoist_drive"]),
        }
        said: list[str] = []
        shown: list[Mapping[str, Told]] = []
        bridge = Bridge(cell, cell.gateway, sources, clock_us, tell=said.append, show=shown.append)
        bus = MemoryBus()
        ear = bus.link(CELL, ["bothsides/sill_point/floor/signals"])
        await ear.open()
        link = bus.link(CELL, (), bridge.presence())
        stop = asyncio.Event()
        running = asyncio.create_task(bridge.run(link, stop))
        try:
            yield Floor(drive, deck, bridge, bus, ear, link, servers, said, shown)
        finally:
            stop.set()
            await running


def with_floor(folder: Path, act: Callable[[Floor], Awaitable[None]]) -> None:
    """Do something with a floor whose signals have all been heard good."""

    async def doing() -> None:
        async with floor(folder) as one:
            await one.wait_good()
            await act(one)

    asyncio.run(doing())


def test_each_controller_moves_its_own_signal_and_no_other(tmp_path: Path) -> None:
    """Both protocols, a contact that is normally closed, a limit, and a bit of a status word."""

    async def act(one: Floor) -> None:
        one.drive.words["register", 1] = 0xFFFF & ~(1 << 4)
        await one.wait_heard(lambda heard: dict(heard) == {**GOOD, "string_still": False})
        one.drive.words["register", 1] = 1 << 4
        for node, bad, good, signal in (
            ("Floor.Clear", False, True, "floor_clear"),
            ("Floor.LoadOverhead", True, False, "nothing_overhead"),
            ("Supply.Pressure", 179.9, 180.0, "hydraulics_ready"),
        ):
            await one.deck.put(node, bad)
            await one.wait_heard(lambda heard, at=signal: dict(heard) == {**GOOD, at: False})  # type: ignore[misc]  # mypy knows no default of a lambda
            await one.deck.put(node, good)
            await one.wait_good()

    with_floor(tmp_path, act)


def test_every_signal_is_said_again_at_its_period_and_a_change_at_once(tmp_path: Path) -> None:
    """GW3: who watches a signal must be able to tell silence from no change."""

    async def act(one: Floor) -> None:
        clock_s = asyncio.get_running_loop().time
        begun_s = clock_s()
        for _ in range(4):
            await one.wait_good()
        repeated_s = (clock_s() - begun_s) / 4
        one.drive.words["register", 1] = 0xFFFF & ~(1 << 4)
        changed_s = clock_s()
        await one.wait_heard(lambda heard: heard["string_still"] is False)

        # Half a second is the period; beyond one and a half a signal counts as too old.
        assert 0.1 < repeated_s < 1.5
        assert clock_s() - changed_s < 1.5

    with_floor(tmp_path, act)


def test_a_value_whose_status_is_not_good_is_unknown(tmp_path: Path) -> None:
    """OPC UA says Uncertain of a last usable value: last is not now."""

    async def act(one: Floor) -> None:
        for status in (
            ua.StatusCodes.BadSensorFailure,
            ua.StatusCodes.BadNoCommunication,
            ua.StatusCodes.UncertainLastUsableValue,
        ):
            await one.deck.put("Floor.Clear", True, status=status)
            await one.wait_heard(lambda heard: dict(heard) == {**GOOD, "floor_clear": None})
            await one.deck.put("Floor.Clear", True)
            await one.wait_good()

    with_floor(tmp_path, act)


def test_an_exception_response_is_unknown(tmp_path: Path) -> None:
    """A device that answers with an exception has told no value."""

    async def act(one: Floor) -> None:
        for code in (ExcCodes.DEVICE_FAILURE, ExcCodes.GATEWAY_NO_RESPONSE):
            one.drive.refuses = code
            await one.wait_heard(lambda heard: dict(heard) == {**GOOD, "string_still": None})
            one.drive.refuses = None
            await one.wait_good()

    with_floor(tmp_path, act)


def test_a_program_that_stands_still_makes_its_signals_unknown(tmp_path: Path) -> None:
    """Its server goes on answering with the last values, good and freshly read."""

    async def act(one: Floor) -> None:
        one.drive.is_alive = False
        await one.wait_heard(lambda heard: dict(heard) == {**GOOD, "string_still": None})
        one.drive.is_alive = True
        await one.wait_good()
        one.deck.is_alive = False
        await one.wait_heard(lambda heard: dict(heard) == {**GOOD, **dict.fromkeys(DECK)})

    with_floor(tmp_path, act)


def test_a_controller_that_dies_is_unknown_and_is_read_again_when_it_is_back(
    tmp_path: Path,
) -> None:
    """Nobody should have to start the gateway anew after a controller was."""

    async def act(one: Floor) -> None:
        await one.servers["drive"].aclose()
        await one.wait_heard(lambda heard: dict(heard) == {**GOOD, "string_still": None})
        async with modbus_controller(one.drive.port) as drive:
            drive.words["register", 1] = 1 << 4
            await one.wait_good()
            await one.servers["deck"].aclose()
            await one.wait_heard(lambda heard: dict(heard) == {**GOOD, **dict.fromkeys(DECK)})
            async with opc_ua_controller(one.deck.port) as deck:
                await put_good_floor(drive, deck)
                await one.wait_good()
        losses = [line for line in one.said if ": lost: " in line]
        assert {line.split(":")[0] for line in losses[:2]} == {"hoist_drive", "deck_controller"}

    with_floor(tmp_path, act)


def test_a_gateway_that_leaves_or_is_cut_off_leaves_every_signal_unknown(tmp_path: Path) -> None:
    """GW4: what a gateway said last must not stand on the bus as if it were still there."""

    async def doing() -> None:
        async with floor(tmp_path) as one:
            await one.wait_good()
            one.link.sever()
            await one.wait_heard(lambda heard: dict(heard) == dict.fromkeys(GOOD))
            one.link.mend()
            await one.wait_good()
        await one.wait_heard(lambda heard: dict(heard) == dict.fromkeys(GOOD))

    asyncio.run(doing())


def test_what_is_read_is_shown_once_with_value_and_age(tmp_path: Path) -> None:
    """A person sees at once what the gateway makes of every place."""

    async def act(one: Floor) -> None:
        async with asyncio.timeout(WAIT_S):
            while not one.shown:
                await one.wait_good()
        (shown,) = one.shown
        found = {name: told.found for name, told in shown.items()}
        assert found == {
            "floor_clear": True,
            "nothing_overhead": False,
            "hydraulics_ready": 205.0,
            "string_still": 16,
        }
        assert all(told.age_us is not None and told.age_us < 1_000_000 for told in shown.values())
        assert all(told.why == "" for told in shown.values())

    with_floor(tmp_path, act)


def test_looking_without_a_bus_tells_of_a_controller_that_is_not_there(tmp_path: Path) -> None:
    """Commissioning begins before anything else is there."""

    async def doing() -> dict[str, Told]:
        async with modbus_controller() as drive:
            drive.words["register", 1] = 1 << 4
            cell = read_cell(write_gateway_cell(tmp_path, drive.port, free_port()))
            assert cell.gateway is not None
            models = cell.gateway.sources
            sources: dict[str, Source] = {
                "deck_controller": OpcUaSource(models["deck_controller"], Access()),
                "hoist_drive": ModbusSource(models["hoist_drive"]),
            }
            said: list[str] = []
            bridge = Bridge(
                cell,
                cell.gateway,
                sources,
                clock_us,
                tell=said.append,
                show=lambda told: said.append(str(told)),
            )
            return await bridge.look(6.0)  # long enough on a busy machine

    seen = asyncio.run(doing())

    assert {name: told.value for name, told in seen.items()} == {
        **dict.fromkeys(DECK),
        "string_still": True,
    }
    assert all(seen[name].why.startswith("deck_controller: ") for name in DECK)


@pytest.mark.parametrize("host", ["nowhere.invalid", "127.0.0.1"])
@pytest.mark.parametrize("scheme", ["opc.tcp", "modbus.tcp"])
def test_a_controller_that_cannot_be_reached_is_a_loss_and_no_crash(scheme: str, host: str) -> None:
    """A name that is not known or a port that is closed may be there in a minute."""
    model = GatewaySourceModel(address=f"{scheme}://{host}:{free_port()}")
    source = ModbusSource(model) if model.is_modbus else OpcUaSource(model, Access())

    async def opening() -> None:
        with pytest.raises(SourceLost):
            await read_once(source, "input 3" if model.is_modbus else "i=1")

    asyncio.run(opening())


async def read_once(source: Source, at: str) -> Readings:
    """Open, read and let go."""
    try:
        await source.open([Place(at)])
        return await source.read()
    finally:
        await source.close()


class Babbler:
    """Answers whatever comes with what is no answer in any protocol."""

    def __init__(self) -> None:
        self._answers: list[asyncio.Task[None]] = []

    async def answer(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Babble until the other side has enough."""
        answering = asyncio.current_task()
        assert answering is not None
        self._answers.append(answering)
        with contextlib.suppress(OSError):
            while await reader.read(1_000):
                writer.write(b"\x00\x01\x00\x00\x00\x03\x03\x01\xff" * 3)
        writer.close()
        with contextlib.suppress(OSError):
            await writer.wait_closed()

    async def wait_silent(self) -> None:
        """Return once nobody listens any more."""
        await asyncio.gather(*self._answers)


@pytest.mark.parametrize("scheme", ["opc.tcp", "modbus.tcp"])
def test_an_answer_that_is_none_is_a_loss_and_no_crash(scheme: str) -> None:
    """Some other program may listen there, or a controller have gone mad."""

    async def reading() -> None:
        babbler = Babbler()
        server = await asyncio.start_server(babbler.answer, "127.0.0.1", 0)
        port = server.sockets[0].getsockname()[1]
        model = GatewaySourceModel(address=f"{scheme}://127.0.0.1:{port}", device=DEVICE)
        source = ModbusSource(model) if model.is_modbus else OpcUaSource(model, Access())
        async with server:
            with pytest.raises(SourceLost):
                await read_once(source, "input 3" if model.is_modbus else "i=1")
            await asyncio.wait_for(babbler.wait_silent(), WAIT_S)

    asyncio.run(reading())


def test_numbers_of_two_registers_are_read_in_either_word_order() -> None:
    """Makers do not agree which word comes first; a wrong order gives another number."""

    async def reading() -> Mapping[Place, Reading]:
        async with modbus_controller() as drive:
            drive.put_float(4, 182.5)
            drive.put_float(6, -2.5, low_word_first=True)
            drive.words["register", 8] = 0xFFFE
            drive.words["register", 10], drive.words["register", 11] = 1, 2
            address = f"modbus.tcp://127.0.0.1:{drive.port}"
            source = ModbusSource(GatewaySourceModel(address=address, device=DEVICE))
            await source.open(list(expected))
            try:
                return await source.read()
            finally:
                await source.close()

    expected: dict[Place, float] = {
        Place("register 4", "float32"): 182.5,
        Place("register 6", "float32", low_word_first=True): -2.5,
        Place("register 8"): 65_534,
        Place("register 8", "int16"): -2,
        Place("register 10", "uint32"): 65_538,
        Place("register 10", "int32", low_word_first=True): 131_073,
    }

    found = asyncio.run(reading())

    assert {place: one.value for place, one in found.items()} == expected


def test_only_places_of_signals_are_asked_for() -> None:
    """A place between two of them may be one that the device refuses, or acts upon."""

    async def reading() -> list[tuple[str, int, int]]:
        async with modbus_controller() as drive:
            address = f"modbus.tcp://127.0.0.1:{drive.port}"
            source = ModbusSource(GatewaySourceModel(address=address, device=DEVICE))
            await source.open([Place(at) for at in ("input 3", "input 4", "coil 3", "input 9")])
            await source.read()
            await source.close()
            return drive.asked

    asked = asyncio.run(reading())

    assert sorted(asked) == [("coil", 3, 1), ("input", 3, 2), ("input", 9, 1)]


def test_a_stamp_is_the_moment_that_the_source_gave_and_a_namespace_may_be_named() -> None:
    """The index of a namespace may change when a server starts anew; its name does not."""
    stamped = datetime.now(UTC).replace(microsecond=250_000) - timedelta(hours=3)

    async def reading() -> list[Reading]:
        async with opc_ua_controller() as deck:
            await deck.put("Floor.Clear", True, stamped=stamped)
            address = f"opc.tcp://127.0.0.1:{deck.port}/floor"
            source = OpcUaSource(GatewaySourceModel(address=address), Access())
            places = [Place(f"nsu={NAMESPACE};s=Floor.Clear"), Place("ns=2;s=Nothing")]
            await source.open(places)
            found = await source.read()
            await source.close()
            with pytest.raises(SourceLost, match="namespace"):
                await source.open([Place("nsu=http://elsewhere;s=Floor.Clear")])
            await source.close()
            return [found[place] for place in places]

    there, nowhere = asyncio.run(reading())

    assert (there.value, there.wrong) == (True, "")
    assert there.stamped_us == round(stamped.timestamp() * 1e6)
    assert nowhere.value is None
    assert "BadNodeIdUnknown" in nowhere.wrong


def write_keys(folder: Path, name: str) -> Path:
    """Write a key and a certificate of an application of OPC UA."""
    own = folder / name
    own.mkdir(parents=True)
    key = generate_private_key()
    uses = [ExtendedKeyUsageOID.CLIENT_AUTH, ExtendedKeyUsageOID.SERVER_AUTH]
    certificate = generate_self_signed_app_certificate(
        key,
        f"urn:dock:{name}",
        {"commonName": name},
        [UniformResourceIdentifier(f"urn:dock:{name}")],
        extended=uses,
    )
    (own / "key.pem").write_bytes(dump_private_key_as_pem(key))
    (own / "certificate.der").write_bytes(certificate.public_bytes(Encoding.DER))
    return own


def test_an_encrypted_controller_is_read_and_an_impostor_is_not(tmp_path: Path) -> None:
    """Whoever takes the controller's place on the network must not tell that the floor is clear."""
    keys = {name: write_keys(tmp_path / "keys", name) for name in ("real", "impostor")}
    ours = write_keys(tmp_path / "secrets" / "controllers", "deck")
    certificate = (keys["real"] / "certificate.der").read_bytes()
    (ours / "server.der").write_bytes(certificate)

    async def reading(who: str, timeout: str) -> Reading:
        async with opc_ua_controller(keys=keys[who]) as deck:
            await deck.put("Floor.Clear", True)
            model = GatewaySourceModel(
                address=f"opc.tcp://127.0.0.1:{deck.port}/floor",
                encrypted=True,
                timeout=timeout,  # type: ignore[arg-type]  # read as from a file
            )
            source = OpcUaSource(model, access_of("deck", model, tmp_path / "secrets"))
            try:
                await source.open([Place("ns=2;s=Floor.Clear")])
                return (await source.read())[Place("ns=2;s=Floor.Clear")]
            finally:
                await source.close()

    assert asyncio.run(reading("real", "30 s")).value is True
    with pytest.raises(SourceLost):
        asyncio.run(reading("impostor", "2 s"))


@pytest.mark.parametrize("missing", ["certificate.der", "key.pem", "server.der", "password"])
def test_what_is_missing_among_the_secrets_is_named(tmp_path: Path, missing: str) -> None:
    """A person must learn which file to put where."""
    model = GatewaySourceModel(address="opc.tcp://10.0.0.9", user="gateway", encrypted=True)
    (tmp_path / "controllers" / "deck").mkdir(parents=True)
    for name in ("certificate.der", "key.pem", "server.der", "password"):
        if name != missing:
            (tmp_path / "controllers" / "deck" / name).write_text("something", encoding="utf-8")

    with pytest.raises(ValueError, match=f"controllers/deck/{missing}.*LNK015"):
        access_of("deck", model, tmp_path)
    with pytest.raises(ValueError, match=r"--secrets.*LNK015"):
        access_of("deck", model, None)
