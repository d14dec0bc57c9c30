"""Write what a cell's Mosquitto needs: configuration, rights, passwords, certificates.

What is secret is made once and never written over; a party that joins later gets a password of its
own and the others keep theirs.

Invariants: CN3, nobody without a password gets into the broker; CN4, a file that holds a secret is
its owner's alone.
Source: Mosquitto 2.0, mosquitto.conf(5).
"""

import os
from collections.abc import Iterable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from coordinator.contract.credentials import (
    Certificates,
    new_certificates,
    new_password,
    password_line,
)
from coordinator.contract.parties import accounts, rights, to_acl
from coordinator.live.mqtt_link import AUTHORITY_FILE, PASSWORD_FILE
from coordinator.wire.codec import BYTES_MAX

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
