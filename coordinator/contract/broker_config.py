"""Write what a cell's Mosquitto needs: configuration, rights, passwords, certificates.

What is secret is made once and never written over; a party that joins later gets a password of its
own and the others keep theirs.

Invariants: CN3, nobody without a password gets into the broker; CN4, a file that holds a secret is
its owner's alone.
Source: Mosquitto 2.0, mosquitto.conf(5); OASIS, MQTT Version 5.0, 2019, 5.4.2 authorization of
clients.
"""

import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from importlib.resources import files
from itertools import groupby
from operator import attrgetter
from pathlib import Path

from coordinator.contract.credentials import (
    Certificates,
    new_certificates,
    new_password,
    password_line,
)
from coordinator.live.mqtt_link import AUTHORITY_FILE, PASSWORD_FILE
from coordinator.wire.codec import BYTES_MAX
from coordinator.wire.topics import COORDINATOR, EVERYBODY, FLOOR, ROOT

SAID = ("report", "telemetry", "state")
"""What every party tells about itself."""
PORT = 8883
PARTIES = "parties"
PACKET_BYTES_MAX = BYTES_MAX + 4096
"""A message with its topic and properties."""
_KEYS = (AUTHORITY_FILE, "authority.key", "broker.crt", "broker.key")


@dataclass(frozen=True, slots=True)
class BrokerWish:
    """For which cell, and where it listens."""

    cell: str
    sides: tuple[str, ...]
    hoist: str | None
    host: str = "localhost"
    port: int = PORT
    simulated: bool = False


def write_broker_config(folder: Path, wish: BrokerWish) -> tuple[Path, ...]:
    """Write everything into a folder; return what was written, secrets that were there left out.

    Raises:
        OSError: something cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = [*_write_certificates(folder, wish)]
    names = tuple(accounts(wish.sides, wish.hoist))
    written += _write_passwords(folder, names)
    found = rights(wish.cell, wish.sides, wish.hoist, simulated=wish.simulated)
    for name, text in (("acl", to_acl(found)), ("mosquitto.conf", to_configuration(folder, wish))):
        _write(folder / name, text.encode(), secret=name == "acl")
        written.append(folder / name)
    return tuple(written)


def to_configuration(folder: Path, wish: BrokerWish) -> str:
    """Return ``mosquitto.conf`` for a folder: TLS 1.3 only, passwords, rights, no truth kept."""
    at = folder.absolute()
    text = files("coordinator.contract").joinpath("mosquitto.txt").read_text("utf-8")
    return text.format(
        cell=wish.cell,
        owner=folder.owner(),
        port=wish.port,
        at=at,
        bytes_max=BYTES_MAX,
        packet_bytes_max=PACKET_BYTES_MAX,
    )


def _write_certificates(folder: Path, wish: BrokerWish) -> Iterable[Path]:
    paths = [folder / name for name in _KEYS]
    if all(path.exists() for path in paths):
        return ()
    made: Certificates = new_certificates(wish.cell, wish.host)
    texts = (made.authority, made.authority_key, made.broker, made.broker_key)
    for path, text in zip(paths, texts, strict=True):
        _write(path, text, secret=path.suffix == ".key")
    return paths


def _write_passwords(folder: Path, names: tuple[str, ...]) -> list[Path]:
    """Give each party a folder with its password and the authority; write the broker's file."""
    lines, written = [], []
    for name in names:
        own = folder / PARTIES / name
        own.mkdir(parents=True, exist_ok=True)
        path = own / PASSWORD_FILE
        if not path.exists():
            _write(path, f"{new_password()}\n".encode(), secret=True)
            written.append(path)
        _write(own / AUTHORITY_FILE, (folder / AUTHORITY_FILE).read_bytes(), secret=False)
        lines.append(password_line(name, path.read_text(encoding="utf-8").strip()))
    _write(folder / "passwords", "".join(lines).encode(), secret=True)
    return [*written, folder / "passwords"]


def _write(path: Path, content: bytes, *, secret: bool) -> None:
    """Write a file whole; one that holds a secret is never readable by others, not for a moment."""
    aside = path.with_name(f"{path.name}.new")
    aside.unlink(missing_ok=True)
    descriptor = os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600 if secret else 0o644)
    with os.fdopen(descriptor, "wb") as file:
        file.write(content)
    aside.replace(path)


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
