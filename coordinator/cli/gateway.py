"""The verb `gateway`: the signals of a real floor, from its controllers onto the bus."""

import asyncio
import logging
import math
import signal
import time
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from rich.markup import escape
from rich.table import Table

from coordinator.cautions import CAUTION
from coordinator.cli.files import read_or_exit
from coordinator.cli.output import Exit, Output
from coordinator.extras import EXTRAS, missing_extra
from coordinator.live.mqtt_link import MqttLink
from coordinator.operate.secrets_folder import address_for
from coordinator.sequence import read_cell
from coordinator.sequence.models.cell_model import CellModel
from coordinator.sequence.models.gateway_model import GatewayModel, GatewaySignalModel
from coordinator.wire.topics import FLOOR, ROOT

if TYPE_CHECKING:
    from coordinator.gateway.bridge import Bridge
    from coordinator.gateway.desk import Told


def run_gateway(
    output: Output, path: Path, broker: str, secrets: Path | None, *, once: bool
) -> Exit:
    """Publish until told to end; with `once` show how each signal is read instead."""
    cell = read_or_exit(output, lambda: read_cell(path))
    if cell.gateway is None:
        return output.refuse(f"{path}: cell has no 'gateway:', must have one to be read; add it")
    if missing := missing_extra("gateway", "a gateway"):
        return output.refuse(missing)
    for name in EXTRAS["gateway"]:
        logging.getLogger(name).setLevel(logging.CRITICAL)  # What goes wrong is told by us, once.
    try:
        bridge = _bridge(output, cell, cell.gateway, secrets)
        if once:
            return _tell_once(output, cell.gateway, asyncio.run(bridge.look()))
        address = address_for(broker, FLOOR)
    except ValueError as error:
        return output.refuse(str(error))
    output.say(f"{CAUTION} The gateway reads; it moves nothing and writes nothing.")
    # The name of the floor: a broker lets only one of that name be there.
    link = MqttLink(address, cell.cell, (), f"{ROOT}-{cell.cell}-{FLOOR}", bridge.presence())
    asyncio.run(_until_told(bridge, link))
    output.document(ok=True)
    return Exit.GOOD


def _bridge(
    output: Output, cell: CellModel, gateway: GatewayModel, secrets: Path | None
) -> "Bridge":
    from coordinator.gateway.bridge import Bridge
    from coordinator.gateway.modbus import ModbusSource
    from coordinator.gateway.opc_ua import OpcUaSource
    from coordinator.gateway.source import Source, access_of

    sources: dict[str, Source] = {}
    for name, model in gateway.sources.items():
        access = access_of(name, model, secrets)
        sources[name] = ModbusSource(model) if model.is_modbus else OpcUaSource(model, access)
    show = partial(_show, output, gateway)
    return Bridge(cell, gateway, sources, _clock_us, tell=_timed(output.say), show=show)


def _timed(say: Callable[[str], None]) -> Callable[[str], None]:
    return lambda text: say(f"{time.strftime('%H:%M:%S')} {text}")


def _clock_us() -> int:
    return time.time_ns() // 1_000


async def _until_told(bridge: "Bridge", link: MqttLink) -> None:
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    await bridge.run(link, stop)


def _tell_once(output: Output, gateway: GatewayModel, told: "Mapping[str, Told]") -> Exit:
    """Show how every signal is read; 0 all are known, 1 not."""
    _show(output, gateway, told)
    is_known = all(one.value is not None for one in told.values())
    signals = {
        name: {
            "value": one.value,
            "source": gateway.signals[name].source,
            "at": gateway.signals[name].at,
            "found": _found(one),
            "quality": _quality(one),
            "age_us": one.age_us,
        }
        for name, one in told.items()
    }
    output.document(ok=is_known, signals=signals)
    return Exit.GOOD if is_known else Exit.FINDINGS


def _show(output: Output, gateway: GatewayModel, told: "Mapping[str, Told]") -> None:
    from coordinator.gateway.bridge import WORDS

    heads = ("signal", "source", "read at", "found", "age", "is told", "quality")
    table = Table(*heads, box=None, pad_edge=False)
    for name, one in told.items():
        where = gateway.signals[name]
        found = "" if one.found is None else escape(str(one.found))
        age = "" if one.age_us is None else f"{one.age_us / 1e6:.2f} s"
        read_at = escape(_read_as(where))
        quality = escape(_quality(one))
        table.add_row(name, where.source, read_at, found, age, WORDS[one.value], quality)
    output.people.print(table)


def _read_as(signal: GatewaySignalModel) -> str:
    """Return where a signal is read, and how, in one phrase."""
    words = [signal.at]
    if signal.number != "uint16":
        words.append(f"as {signal.number}")
    if signal.low_word_first:
        words.append("low word first")
    if signal.bit is not None:
        words.append(f"bit {signal.bit}")
    if signal.inverted:
        words.append("inverted")
    if signal.at_least is not None:
        words.append(f"at least {signal.at_least:g}")
    if signal.at_most is not None:
        words.append(f"at most {signal.at_most:g}")
    return ", ".join(words)


def _quality(told: "Told") -> str:
    return told.why or "good"


def _found(told: "Told") -> bool | int | float | str | None:
    """Return what was found as JSON can carry it: not a number has no number there."""
    is_number = not isinstance(told.found, float) or math.isfinite(told.found)
    return told.found if is_number else str(told.found)
