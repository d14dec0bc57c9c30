"""Say who may say and hear what on the bus of a cell; whatever is not said here is forbidden.

Source: OASIS, MQTT Version 5.0, 2019, 5.4.2 authorization of clients.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby
from operator import attrgetter

from coordinator.wire.topics import COORDINATOR, EVERYBODY, FLOOR, ROOT

SAID = ("report", "telemetry", "state")
"""What every party tells about itself."""


@dataclass(frozen=True, slots=True)
class Right:
    """One topic that one party may use."""

    party: str
    topic: str
    may: str
    """``read``, ``write`` or ``readwrite``."""


def accounts(sides: Iterable[str], hoist: str | None) -> dict[str, tuple[str, ...]]:
    """Return each account of a cell's broker with the parties it speaks for.

    The floor speaks for the hoist's lane as well: its operator answers there.
    """
    floor = (FLOOR,) if hoist is None else (FLOOR, hoist)
    return {COORDINATOR: (COORDINATOR,), **{side: (side,) for side in sides}, FLOOR: floor}


def rights(
    cell: str, sides: Iterable[str], hoist: str | None, *, simulated: bool = False
) -> tuple[Right, ...]:
    """Return everything that each account may do, account by account.

    Args:
        cell: Name of the cell, second level of every topic.
        sides: Names of its arms.
        hoist: Name of the hoist's lane, if it has one.
        simulated: Let simulated parties tell each other of the simulated steel too.
    """
    known = accounts(sides, hoist)
    others = [party for account in known for party in known[account] if party != COORDINATOR]
    found = list(_of_coordinator(cell, others))
    for account, parties in known.items():
        if account != COORDINATOR:
            found += _of_party(cell, account, parties, simulated=simulated)
    return tuple(found)


def _of_coordinator(cell: str, others: list[str]) -> Iterator[Right]:
    at = f"{ROOT}/{cell}"
    yield Right(COORDINATOR, f"{at}/{EVERYBODY}/lease", "write")
    yield Right(COORDINATOR, f"{at}/{COORDINATOR}/state", "readwrite")
    for party in others:
        yield Right(COORDINATOR, f"{at}/{party}/command", "write")
        for channel in SAID:
            yield Right(COORDINATOR, f"{at}/{party}/{channel}", "read")
    yield Right(COORDINATOR, f"{at}/{FLOOR}/signals", "read")


def _of_party(
    cell: str, account: str, parties: tuple[str, ...], *, simulated: bool
) -> Iterator[Right]:
    at = f"{ROOT}/{cell}"
    yield Right(account, f"{at}/{EVERYBODY}/lease", "read")
    for party in parties:
        yield Right(account, f"{at}/{party}/command", "read")
        for channel in SAID:
            yield Right(account, f"{at}/{party}/{channel}", "write")
        if simulated:
            yield Right(account, f"{at}/{party}/simulated", "write")
    may = "readwrite" if account == FLOOR else "read"
    yield Right(account, f"{at}/{FLOOR}/signals", may)
    if simulated:
        yield Right(account, f"{at}/+/simulated", "read")


def to_acl(found: Iterable[Right]) -> str:
    """Return the rights as a Mosquitto ACL file; who has no line may do nothing."""
    lines = ["# Nobody may do anything that is not said here.\n"]
    for party, own in groupby(found, attrgetter("party")):
        lines.append(f"\nuser {party}\n")
        lines += [f"topic {one.may} {one.topic}\n" for one in own]
    return "".join(lines)
