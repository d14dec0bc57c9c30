"""Read a device over Modbus TCP: coils, inputs and registers, which tell neither quality nor age.

Invariants: GW5, a gateway only reads its controllers: it never writes to one.
Source: Modbus Organization, MODBUS Application Protocol Specification V1.1b3, 2012, section 6.
"""

from collections.abc import Sequence

from pymodbus.client import AsyncModbusTcpClient

from coordinator.gateway.desk import Place, Reading, Readings
from coordinator.gateway.source import SourceLost, words_of
from coordinator.sequence.models.gateway_model import (
    BITS,
    GatewaySourceModel,
    modbus_place,
    register_count,
)

COUNT_MAX = 100
"""Chosen: below the 125 registers and 2000 bits that one request may ask for."""
Run = tuple[str, int, int]
"""Table, first number and count of coils, inputs or registers that stand side by side."""
Row = tuple[str, int]
"""Table and number of one of them."""


class ModbusSource:
    """A server of Modbus TCP."""

    def __init__(self, source: GatewaySourceModel) -> None:
        """Know where it is; nothing is connected yet."""
        self._source = source
        self._client: AsyncModbusTcpClient | None = None
        self._places: dict[Place, Run] = {}
        self._runs: tuple[Run, ...] = ()

    async def open(self, places: Sequence[Place]) -> None:
        """Connect; see `Source`."""
        self._places = {place: _run_of(place) for place in places}
        self._runs = runs_of(tuple(self._places.values()))
        client = AsyncModbusTcpClient(
            self._source.host,
            port=self._source.port,
            timeout=self._source.timeout / 1e6,
            retries=0,
            # Connections are made anew by us, so that no old answer is taken for a new one.
            reconnect_delay=0,
        )
        self._client = client
        try:
            is_there = await client.connect()
        except Exception as error:  # whatever the name service or the library says
            raise SourceLost(words_of(error)) from None
        if not is_there:
            raise SourceLost("nobody answers there")

    async def read(self) -> Readings:
        """Read every run of places; see `Source`."""
        if self._client is None or not self._client.connected:
            raise SourceLost("the connection is closed")
        found: dict[Row, Reading] = {}
        for run in self._runs:
            found.update(await self._read_run(self._client, run))
        return {
            place: _joined(place, [found[table, first + offset] for offset in range(count)])
            for place, (table, first, count) in self._places.items()
        }

    async def close(self) -> None:
        """Close the connection; see `Source`."""
        client, self._client = self._client, None
        if client is not None:
            client.close()

    async def _read_run(self, client: AsyncModbusTcpClient, run: Run) -> dict[Row, Reading]:
        table, first, count = run
        ask = {
            "coil": client.read_coils,
            "input": client.read_discrete_inputs,
            "register": client.read_holding_registers,
            "input_register": client.read_input_registers,
        }[table]
        try:
            answer = await ask(first, count=count, device_id=self._source.device)
        except Exception as error:  # the library may let a malformed answer through
            raise SourceLost(words_of(error)) from None
        rows = [(table, first + offset) for offset in range(count)]
        if answer.isError():
            wrong = f"it answers with exception {getattr(answer, 'exception_code', '?')}"
            return {row: Reading(None, wrong) for row in rows}
        values: Sequence[bool | int] = answer.bits if table in BITS else answer.registers
        if len(values) < count:
            raise SourceLost("its answer is too short")
        return {row: Reading(value) for row, value in zip(rows, values, strict=False)}


def runs_of(wanted: Sequence[Run]) -> tuple[Run, ...]:
    """Return the requests that ask for some places and for nothing between them.

    Two registers of one number are asked for together, so that they are of one moment.
    """
    runs: list[Run] = []
    for table, number, count in sorted(wanted):
        if runs:
            last, first, length = runs[-1]
            end = max(first + length, number + count)
            if last == table and number <= first + length and end - first <= COUNT_MAX:
                runs[-1] = (table, first, end - first)
                continue
        runs.append((table, number, count))
    return tuple(runs)


def _run_of(place: Place) -> Run:
    found = modbus_place(place.at)
    if found is None:
        raise ValueError(f"place is {place.at!r}, must be one of Modbus")  # The cell was checked.
    return (found.table, found.number, register_count(place.number))


def _joined(place: Place, readings: Sequence[Reading]) -> Reading:
    """Make one number of the registers it stands in."""
    wrong = next((one.wrong for one in readings if one.wrong), "")
    words = [one.value for one in readings if one.value is not None]
    if wrong or (len(words) == 1 and isinstance(words[0], bool)):
        return Reading(None, wrong) if wrong else readings[0]
    value = AsyncModbusTcpClient.convert_from_registers(
        [int(word) for word in words],
        AsyncModbusTcpClient.DATATYPE[place.number.upper()],
        word_order="little" if place.low_word_first else "big",
    )
    return Reading(value if isinstance(value, int | float) else None)
