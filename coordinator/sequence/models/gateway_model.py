"""Describe the gateway of a cell: which place of which controller each signal of the floor is.

Units: times whole microseconds; limits of a reading are in the controller's own numbers.
"""

import re
from dataclasses import dataclass
from typing import Annotated, Literal
from urllib.parse import urlsplit

from pydantic import AfterValidator, Field

from coordinator.sequence.models.fields import Duration, Name, Reference, Strict, refusal

PORTS = {"opc.tcp": 4840, "modbus.tcp": 502}
"""Registered with IANA for OPC UA and Modbus TCP."""
SPEAKS = {"opc.tcp": "OPC UA", "modbus.tcp": "Modbus TCP"}
BITS = ("coil", "input")
"""The tables of single bits."""
MODBUS_PLACE_MAX = 65_535
_MODBUS = re.compile(r"(coil|input|register|input_register) (\d{1,5})")
_NODE = re.compile(r"(?:(?:ns=\d{1,5}|nsu=[^;\s]+);)?(?:i=\d{1,10}|[sgb]=\S(?:.*\S)?)")
_ADDRESS = re.compile(r"(opc|modbus)\.tcp://[A-Za-z0-9.\-]+(:\d{1,5})?(/[\w./\-]*)?")

ModbusNumber = Literal["uint16", "int16", "uint32", "int32", "float32"]
"""What one register is, or two side by side."""


@dataclass(frozen=True, slots=True)
class ModbusPlace:
    """One place of a Modbus device, counted from 0 as on the wire."""

    table: str
    number: int

    @property
    def is_bit(self) -> bool:
        """Whether one bit stands there, not a word of sixteen."""
        return self.table in BITS


def modbus_place(text: str) -> ModbusPlace | None:
    """Read a place such as ``input 3``; None if it is none."""
    found = _MODBUS.fullmatch(text)
    if found is None or int(found[2]) > MODBUS_PLACE_MAX:
        return None
    return ModbusPlace(found[1], int(found[2]))


def register_count(number: str) -> int:
    """Return how many registers a number takes."""
    return 2 if number.endswith("32") else 1


def is_node(text: str) -> bool:
    """Tell whether a text names a node of OPC UA, such as ``ns=2;s=Floor.Clear``."""
    return _NODE.fullmatch(text) is not None


def _address(text: str) -> str:
    must = "must be like opc.tcp://10.0.0.9:4840/floor or modbus.tcp://10.0.0.9:502"
    if not _ADDRESS.fullmatch(text) or not _has_port(text):
        raise refusal("SEQ009", f"address is {text!r}", must, "write the controller's address")
    return text


def _has_port(text: str) -> bool:
    try:
        port = urlsplit(text).port
    except ValueError:
        return False
    return port is None or port > 0


class GatewaySourceModel(Strict):
    """A controller that signals are read from."""

    address: Annotated[str, AfterValidator(_address)]
    """Where it listens: `opc.tcp://HOST:PORT/PATH` or `modbus.tcp://HOST:PORT`."""
    every: Duration = 200_000
    """How often it is read."""
    timeout: Duration = 300_000
    """How long its answer may take; after that its signals are unknown."""
    device: int = Field(default=1, ge=0, le=255)
    """Number of the device behind the address, for Modbus."""
    alive: str | None = Field(default=None, max_length=256)
    """Place of a value that the controller's program keeps changing."""
    alive_max: Duration = 1_000_000
    """How long that value may stand still; after that all its signals are unknown."""
    stamp_max: Duration | None = None
    """How far a value's source time stamp may be from now, for OPC UA; if left out, not judged."""
    user: Name | None = None
    """Who we are to it, for OPC UA; the password lies in the folder of secrets."""
    encrypted: bool = False
    """Whether messages are signed and encrypted, for OPC UA, with the key in that folder."""

    @property
    def scheme(self) -> str:
        """How it is spoken to, `opc.tcp` or `modbus.tcp`."""
        return urlsplit(self.address).scheme

    @property
    def is_modbus(self) -> bool:
        """Whether it speaks Modbus TCP, which tells neither quality nor age."""
        return self.scheme == "modbus.tcp"

    @property
    def host(self) -> str:
        """Its name or number on the network."""
        return urlsplit(self.address).hostname or ""

    @property
    def port(self) -> int:
        """Its port, the registered one if none is written."""
        return urlsplit(self.address).port or PORTS[self.scheme]


class GatewaySignalModel(Strict):
    """Where a signal is read, and when it is true."""

    source: Reference
    """The controller it comes from."""
    at: str = Field(min_length=1, max_length=256)
    """Node of OPC UA (`ns=2;s=Floor.Clear`) or place of Modbus (`input 3`), counted from 0."""
    bit: int | None = Field(None, ge=0, le=31)
    """Which bit of the word says it, 0 for the lowest."""
    inverted: bool = False
    """Whether it is true while the bit is not set, as with a normally closed contact."""
    number: ModbusNumber = "uint16"
    """What the register is, for Modbus; 32 bits are two registers from this place on."""
    low_word_first: bool = False
    """Whether the first of two registers is the low one, for Modbus."""
    at_least: float | None = None
    """True from this reading on."""
    at_most: float | None = None
    """True up to this reading."""

    @property
    def width(self) -> int:
        """How many registers it takes."""
        return register_count(self.number)


class GatewayModel(Strict):
    """How a real floor's signals come in."""

    sources: dict[Name, GatewaySourceModel] = Field(min_length=1)
    """The controllers."""
    signals: dict[Reference, GatewaySignalModel] = Field(min_length=1)
    """Of every signal of the cell, where it comes from."""
