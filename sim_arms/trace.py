"""Write each delivery of a virtual run as one line of canonical JSON.

Invariants: N4, a line of a trace depends on the delivery alone: keys sorted, no blanks, floats as
Python prints them.
"""

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from typing import Any

from coordinator.wire.codec import type_name_of
from coordinator.wire.messages import Message


class TraceWriter:
    """Takes deliveries, hands lines on and keeps their hash."""

    def __init__(self, write: Callable[[str], object]) -> None:
        """Hand every line, with its line end, to `write`."""
        self._write = write
        self._hash = hashlib.sha256()

    def __call__(self, time_us: int, target: str, message: Message) -> None:
        """Write one delivery."""
        line = to_line(time_us, target, message)
        self._hash.update(line.encode())
        self._write(line)

    def digest(self) -> str:
        """Return the SHA-256 of all lines so far, in hexadecimal."""
        return self._hash.hexdigest()


def to_line(time_us: int, target: str, message: Message) -> str:
    """Return one delivery as a line of canonical JSON."""
    return (
        _ENCODER.encode(
            {
                "at_us": time_us,
                "to": target,
                "from": message.source,
                "subject": message.subject,
                "sequence": message.sequence,
                "ordinal": message.ordinal,
                "epoch": message.epoch,
                "sent_us": message.sent_us,
                "expires_us": message.expires_us,
                "type": type_name_of(message.body),
                "data": message.body,
            }
        )
        + "\n"
    )


@cache
def _names(kind: type[Any]) -> tuple[str, ...]:
    return tuple(entry.name for entry in fields(kind))


def _plain(value: object) -> dict[str, Any]:
    if isinstance(value, Mapping):
        return dict(value)
    if is_dataclass(value) and not isinstance(value, type):
        return {name: getattr(value, name) for name in _names(type(value))}
    raise TypeError(f"a trace holds no {type(value).__name__}")


_ENCODER = json.JSONEncoder(
    sort_keys=True, separators=(",", ":"), allow_nan=False, check_circular=False, default=_plain
)
