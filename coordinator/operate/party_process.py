"""Be one simulated party of a cell on a broker, as a process of its own.

``python -m coordinator.operate.party_process PART`` is what `run` starts for each
of its parties; such a process ends when the one that started it does.

Units: ``*_us`` whole microseconds since the Unix epoch.
"""

import asyncio
import json
import os
import signal
import stat
import sys
import threading
import time
from collections.abc import MutableMapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import structlog
from pydantic import TypeAdapter

from coordinator.live.mqtt_link import Address
from coordinator.operate.cell_clock import CellClock
from coordinator.operate.secrets_folder import address_for
from coordinator.rehearse.simulated import Simulation, ledger_folder
from coordinator.sequence import load
from sim_arms.causes import Cause
from sim_arms.floor import Floor
from sim_arms.node import Broker, Orders, ledger_beside, run_party
from sim_arms.orders import obey_order
from sim_arms.party import SimulatedParty

CAUSES_FILE = "causes.json"
BROKER_VARIABLE = "BOTHSIDES_BROKER"
FAREWELL_S = 4.0
"""Chosen: longer than a party tries to say farewell; then it ends, whatever keeps it."""


@dataclass(frozen=True, slots=True)
class Part:
    """Which party of which cell a process plays, and in which world."""

    name: str
    """A side, or `floor`."""
    sequence: Path
    joint: Path | None
    """A joint instead of the one that the sequence names."""
    folder: Path
    """Holds the ledgers."""
    seed: int = 1
    causes: tuple[Cause, ...] = ()
    """What goes wrong."""
    clock: CellClock | None = None
    """Of the cell; None for one that begins, as the case does, now."""


PARTS = TypeAdapter(Part)
_CAUSES = TypeAdapter(tuple[Cause, ...])


def play(part: Part, broker: str, *, hoist_only: bool = False) -> None:
    """Play a party until told to end; a broker out of reach is tried for ever.

    The floor takes orders on standard input; with `hoist_only` its signals are left to a gateway.

    Raises:
        ValueError: the cell has no such party, or the address is none.
    """
    clock = part.clock or CellClock(CellClock()())
    address = _to_broker(address_for(broker, part.name))  # The hoist goes in as the floor does.
    loaded = load(part.sequence, joint=part.joint)
    simulation = Simulation(loaded, part.seed, part.causes, clock.base_us)
    name = part.name
    if name not in simulation.names:
        names = ", ".join(simulation.names)
        raise ValueError(f"'{name}' is no party of cell {loaded.cell.cell}; name one of {names}")
    if hoist_only:
        if loaded.cell.hoist is None:
            raise ValueError(f"cell {loaded.cell.cell} has no hoist, must have one; leave it out")
        name = loaded.cell.hoist  # Whose ledger it keeps.
    _log_to_stderr()
    store = ledger_beside(ledger_folder(part.folder), loaded.cell.cell, name)
    try:
        ours = replace(simulation, boot=store.count_boot(), speed=clock.speed)
        party: SimulatedParty = ours.floor(store).hoist if hoist_only else ours.party(name, store)
        orders: Orders | None = None
        # Of a party that a run has started, standard input is the leash and nothing else.
        is_leashed = part.clock is not None
        if isinstance(party, Floor) and not is_leashed and _can_be_watched(sys.stdin.fileno()):
            orders = partial(obey_order, party)
        asyncio.run(
            run_party(party, loaded.cell.cell, address, clock, orders=orders, speed=clock.speed)
        )
    finally:
        store.close()


def write_causes(path: Path, causes: Sequence[Cause]) -> None:
    """Write what goes wrong, for the processes of a run."""
    path.write_text(json.dumps([asdict(cause) for cause in causes], indent=1), encoding="utf-8")


def read_causes(path: Path) -> tuple[Cause, ...]:
    """Read what `write_causes` wrote."""
    return _CAUSES.validate_json(path.read_bytes())


def _to_broker(address: Address) -> Broker:
    return Broker(address.host, address.port, address.username, address.password, address.trust())


def _can_be_watched(descriptor: int) -> bool:
    """Tell whether lines can be awaited there: a terminal, a pipe or a socket, but no file."""
    mode = os.fstat(descriptor).st_mode
    return os.isatty(descriptor) or stat.S_ISFIFO(mode) or stat.S_ISSOCK(mode)


class _TellOnce:
    """Drops what would be told again at every try to reach the broker."""

    def __init__(self) -> None:
        self._is_told = False

    def __call__(
        self, logger: object, method: str, event: MutableMapping[str, Any]
    ) -> MutableMapping[str, Any]:
        """Let an entry pass, or drop it."""
        if event.get("event") == "linked":
            self._is_told = False
        elif event.get("event") == "link_lost":
            if self._is_told:
                raise structlog.DropEvent
            self._is_told = True
            event["hint"] = "tries go on until a broker answers"
        return event


def _log_to_stderr() -> None:
    structlog.configure(
        processors=[
            _TellOnce(),
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            structlog.dev.ConsoleRenderer(colors=sys.stderr.isatty()),
        ],
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
    )


def _end_with_parent() -> None:
    """End this process when the other end of standard input closes, however that came about."""

    def watch() -> None:
        while os.read(0, 4096):
            pass
        os.kill(os.getpid(), signal.SIGTERM)
        time.sleep(FAREWELL_S)  # In good order the process is gone long before.
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def main() -> None:
    """Play the part that the command line tells as JSON; standard input is the leash."""
    _end_with_parent()
    play(PARTS.validate_json(sys.argv[1]), os.environ[BROKER_VARIABLE])


if __name__ == "__main__":
    main()
