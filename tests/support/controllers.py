"""Controllers for tests: real servers of OPC UA and Modbus TCP, and the cell that reads them."""

import contextlib
import struct
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from asyncua import Server, ua
from pymodbus.constants import ExcCodes
from pymodbus.pdu import ModbusPDU
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from tests.support.brokers import free_port
from tests.support.sequence_files import SEQUENCES

TABLES = {1: "coil", 2: "input", 3: "register", 4: "input_register"}
"""By function code (MODBUS Application Protocol Specification V1.1b3, section 6)."""
DEVICE = 3
BEAT = 0
"""The register that counts up whenever it is read."""


@dataclass
class ModbusController:
    """What stands in a device of Modbus, for a test to change."""

    port: int = 0
    words: dict[tuple[str, int], int] = field(default_factory=dict)
    is_alive: bool = True
    """Whether its program runs; a dead one's values stand still."""
    refuses: ExcCodes | None = None
    """The exception that it answers everything with."""
    asked: list[tuple[str, int, int]] = field(default_factory=list)
    """Table, first place and count of everything that was asked."""
    beat: int = 0

    def put_float(self, number: int, value: float, *, low_word_first: bool = False) -> None:
        """Write a number of IEEE 754 into two registers, by another road than it is read."""
        high, low = struct.unpack(">HH", struct.pack(">f", value))
        first, second = (low, high) if low_word_first else (high, low)
        self.words["register", number] = first
        self.words["register", number + 1] = second

    async def answer(
        self, function: int, start: int, _first: int, _count: int, *memory: Any
    ) -> ExcCodes | None:
        """Bring the server's memory up to date when it is asked."""
        registers: list[int] = memory[0]
        table = TABLES[function]
        if self.refuses is not None:
            return self.refuses
        self.beat += self.is_alive
        self.words["register", BEAT] = self.beat % 65_536
        for (name, number), word in self.words.items():
            if name != table:
                continue
            if table in ("coil", "input"):
                bit = 1 << number % 16
                registers[number // 16 - start] &= ~bit
                registers[number // 16 - start] |= bit if word else 0
            else:
                registers[number - start] = word
        return None

    def note(self, is_answer: bool, packet: ModbusPDU) -> ModbusPDU:
        """Note what was asked, as it came over the wire."""
        if not is_answer:
            self.asked.append((TABLES[packet.function_code], packet.address, packet.count))
        return packet


@contextlib.asynccontextmanager
async def modbus_controller(port: int = 0) -> AsyncIterator[ModbusController]:
    """Serve a device on a port, such as one that another has left."""
    controller = ModbusController(port or free_port())
    bits = [SimData(0, count=32, values=False, datatype=DataType.BITS)]
    words = [SimData(0, count=32, datatype=DataType.REGISTERS)]
    device = SimDevice(DEVICE, (bits, bits, words, words), action=controller.answer)
    place = ("127.0.0.1", controller.port)
    server = ModbusTcpServer(device, address=place, trace_pdu=controller.note)
    await server.serve_forever(background=True)
    try:
        yield controller
    finally:
        await server.shutdown()  # type: ignore[no-untyped-call]  # untyped in pymodbus


def ua_time(moment: datetime) -> ua.DateTime:
    """Return a moment as OPC UA's own kind of one."""
    return ua.DateTime.fromtimestamp(moment.timestamp(), UTC)


@dataclass
class OpcUaController:
    """What stands in a server of OPC UA, for a test to change."""

    port: int
    server: Server
    index: int = 0
    is_alive: bool = True
    """Whether its program runs; a dead one's values stand still."""
    beat: int = 0
    nodes: dict[str, Any] = field(default_factory=dict)

    async def put(
        self,
        name: str,
        value: Any,
        *,
        status: int = ua.StatusCodes.Good,
        stamped: datetime | None = None,
    ) -> None:
        """Write a value with its status and time stamp."""
        if name not in self.nodes:
            place = ua.NodeId.from_string(f"ns={self.index};s={name}")
            objects = self.server.nodes.objects
            self.nodes[name] = await objects.add_variable(place, name, value)
        found = ua.DataValue(
            ua.Variant(value),
            ua.StatusCode(ua.UInt32(status)),
            SourceTimestamp=ua_time(stamped or datetime.now(UTC)),
        )
        await self.nodes[name].write_value(found)

    async def put_beat(self, name: str) -> None:
        """Make a value that counts up whenever it is read."""
        await self.put(name, 0)
        self.server.set_attribute_value_callback(self.nodes[name].nodeid, self._count)

    def _count(self, _node: ua.NodeId, _attribute: ua.AttributeIds) -> ua.DataValue:
        self.beat += self.is_alive
        return ua.DataValue(ua.Variant(self.beat), SourceTimestamp=ua_time(datetime.now(UTC)))


NAMESPACE = "http://dock.example/floor"


@contextlib.asynccontextmanager
async def opc_ua_controller(
    port: int = 0, *, keys: Path | None = None
) -> AsyncIterator[OpcUaController]:
    """Serve on a port; with `keys` signed and encrypted only."""
    server = Server()
    await server.init()
    controller = OpcUaController(port or free_port(), server)
    server.set_endpoint(f"opc.tcp://127.0.0.1:{controller.port}/floor")
    if keys is None:
        server.set_security_policy([ua.SecurityPolicyType.NoSecurity])
    else:
        server.set_security_policy([ua.SecurityPolicyType.Basic256Sha256_SignAndEncrypt])
        await server.load_certificate(str(keys / "certificate.der"))
        await server.load_private_key(keys / "key.pem")
    controller.index = await server.register_namespace(NAMESPACE)
    await server.start()
    try:
        yield controller
    finally:
        await server.stop()


async def put_good_floor(drive: ModbusController, deck: OpcUaController) -> None:
    """Let everything that the shipped cell reads be as work needs it."""
    drive.words["register", 1] = 1 << 4
    await deck.put_beat("Floor.Beat")
    await deck.put("Floor.Clear", True)
    await deck.put("Floor.LoadOverhead", False)
    await deck.put("Supply.Pressure", 205.0)


def write_gateway_cell(folder: Path, drive_port: int, deck_port: int) -> Path:
    """Write the shipped cell with its two controllers on this machine, and return its path."""
    text = (SEQUENCES / "cells" / "sill_point.yaml").read_text(encoding="utf-8")
    for far, near in (
        ("modbus.tcp://10.20.0.12:502", f"modbus.tcp://127.0.0.1:{drive_port}"),
        ("opc.tcp://10.20.0.11:4840/floor", f"opc.tcp://127.0.0.1:{deck_port}/floor"),
    ):
        assert far in text
        # As patient as the age of the signals allows: the machine of a test may be busy.
        patient = "\n      timeout: 1300 ms\n      alive_max: 1500 ms"
        text = text.replace(far, near + patient)
    path = folder / "sill_point.yaml"
    path.write_text(text, encoding="utf-8")
    return path
