"""Be one simulated party of a cell on a broker, as a process of its own.

``python -m coordinator.operate.party_process NAME SEQUENCE ...`` is what `run` starts for each
of its parties; such a process ends when the one that started it does.

Units: ``*_us`` whole microseconds since the Unix epoch.
"""

import argparse
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

from coordinator.live.mqtt_link import Address
from coordinator.operate.cell_clock import CellClock
from coordinator.operate.secrets_folder import address_for
from coordinator.rehearse.simulated import Simulation, ledger_folder, to_causes
from coordinator.sequence import Case, load
from coordinator.wire.topics import FLOOR
from sim_arms.causes import Cause
from sim_arms.floor import Floor
from sim_arms.node import Broker, Orders, ledger_beside, run_party
from sim_arms.orders import obey_order
from sim_arms.party import SimulatedParty

CAUSES_FILE = "causes.json"
BROKER_VARIABLE = "BOTHSIDES_BROKER"
FAREWELL_S = 4.0
"""Chosen: longer than a party tries to say farewell; then it ends, whatever keeps it."""


def run_arm(
    side: str,
    sequence_path: Path,
    broker: str,
    *,
    joint_path: Path | None = None,
    folder: Path,
    seed: int = 1,
    case: Case | None = None,
    speed: float = 1.0,
    clock_base_us: int | None = None,
) -> None:
    """Be the arm of one side until told to end; a broker out of reach is tried for ever.

    Args:
        side: Its name in the cell.
        sequence_path: The sequence whose cell it stands in.
        broker: ``mqtt://host:port``.
        joint_path: A joint instead of the one that the sequence names.
        folder: Holds the ledgers.
        seed: Of everything random.
        case: What goes wrong.
        speed: How much faster than the wall the cell's clock runs.
        clock_base_us: When that clock and the wall agree, and the case begins; None for now.

    Raises:
        ValueError: the cell has no such side, or the address is none.
    """
    causes = to_causes(case.causes) if case else ()
    clock = CellClock(CellClock()() if clock_base_us is None else clock_base_us, speed)
    _be(side, _Files(sequence_path, joint_path, folder), broker, _World(seed, causes, clock))


def run_floor(
    sequence_path: Path,
    broker: str,
    *,
    joint_path: Path | None = None,
    folder: Path,
    seed: int = 1,
    case: Case | None = None,
    speed: float = 1.0,
    clock_base_us: int | None = None,
    hoist_only: bool = False,
) -> None:
    """Be the floor and the hoist; takes orders on standard input. See `run_arm`.

    With `hoist_only` the signals are left to a gateway.
    """
    causes = to_causes(case.causes) if case else ()
    clock = CellClock(CellClock()() if clock_base_us is None else clock_base_us, speed)
    world = _World(seed, causes, clock, takes_orders=True)
    files = _Files(sequence_path, joint_path, folder)
    _be(FLOOR, files, broker, world, hoist_only=hoist_only)


def write_causes(path: Path, causes: Sequence[Cause]) -> None:
    """Write what goes wrong, for the processes of a run."""
    path.write_text(json.dumps([asdict(cause) for cause in causes], indent=1), encoding="utf-8")


def read_causes(path: Path) -> tuple[Cause, ...]:
    """Read what `write_causes` wrote."""
    causes = []
    for entry in json.loads(path.read_text(encoding="utf-8")):
        parameters = tuple((name, float(value)) for name, value in entry.pop("parameters"))
        causes.append(Cause(**entry, parameters=parameters))
    return tuple(causes)


@dataclass(frozen=True, slots=True)
class _World:
    """What a process is told about the world it simulates a part of."""

    seed: int
    causes: tuple[Cause, ...]
    clock: CellClock
    takes_orders: bool = False


@dataclass(frozen=True, slots=True)
class _Files:
    """What a process reads, and where it writes."""

    sequence: Path
    joint: Path | None
    folder: Path


def _be(name: str, files: _Files, broker: str, world: _World, *, hoist_only: bool = False) -> None:
    address = _to_broker(address_for(broker, name))  # The hoist goes in as the floor does.
    loaded = load(files.sequence, joint=files.joint)
    simulation = Simulation(loaded, world.seed, world.causes, world.clock.base_us)
    if name not in simulation.names:
        names = ", ".join(simulation.names)
        raise ValueError(f"'{name}' is no party of cell {loaded.cell.cell}; name one of {names}")
    if hoist_only:
        if loaded.cell.hoist is None:
            raise ValueError(f"cell {loaded.cell.cell} has no hoist, must have one; leave it out")
        name = loaded.cell.hoist  # Whose ledger it keeps.
    _log_to_stderr()
    store = ledger_beside(ledger_folder(files.folder), loaded.cell.cell, name)
    try:
        ours = replace(simulation, boot=store.count_boot(), speed=world.clock.speed)
        party: SimulatedParty = ours.floor(store).hoist if hoist_only else ours.party(name, store)
        orders: Orders | None = None
        if world.takes_orders and isinstance(party, Floor) and _can_be_watched(sys.stdin.fileno()):
            orders = partial(obey_order, party)
        running = run_party(
            party,
            loaded.cell.cell,
            address,
            world.clock,
            orders=orders,
            speed=world.clock.speed,
        )
        asyncio.run(running)
    finally:
        store.close()


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


def main(arguments: Sequence[str] | None = None) -> None:
    """Be the party that the command line names; standard input is the leash."""
    parser = argparse.ArgumentParser(prog="party_process", description=__doc__)
    parser.add_argument("name", help="a side, or `floor`")
    parser.add_argument("sequence", type=Path)
    parser.add_argument("--joint", type=Path)
    parser.add_argument("--folder", type=Path, required=True)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--causes", type=Path)
    parser.add_argument("--clock-base", type=int, required=True)
    parser.add_argument("--speed", type=float, default=1.0)
    given = parser.parse_args(arguments)
    _end_with_parent()
    causes = read_causes(given.causes) if given.causes else ()
    world = _World(given.seed, causes, CellClock(given.clock_base, given.speed))
    files = _Files(given.sequence, given.joint, given.folder)
    _be(given.name, files, os.environ[BROKER_VARIABLE], world)


if __name__ == "__main__":
    main()
