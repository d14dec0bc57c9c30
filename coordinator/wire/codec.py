"""Encode messages to JSON and check what comes in; pydantic stands here and nowhere further in.

Envelope attributes are those of CloudEvents 1.0 (CNCF, 2019): ``specversion id source type subject
time datacontenttype data``, with its documented extensions ``sequence`` and ``expirytime``, and
``epoch`` and ``ordinal`` of our own.

Invariants: WR3, a message that does not fit the contract is told and dropped; WR4, encode then
decode of a message is the identity; WR12, no character of a party's text acts on a terminal.
"""

import json
from datetime import UTC, datetime, timedelta
from typing import Any, get_args

from pydantic import ConfigDict, TypeAdapter, ValidationError

from coordinator.wire.messages import Body, Message

BYTES_MAX = 1_048_576
WHOLE_MAX = 2**53 - 1
"""Every whole number in a message is at most this: what JSON carries exactly everywhere (RFC 8259,
section 6). Not in the schema of contract 1: a bound there would read as a break."""
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_PREFIX = "org.bothsides."
_KINDS: dict[str, type[Any]] = {
    f"{_PREFIX}{kind.__name__.lower()}": kind for kind in get_args(Body)
}
_ADAPTERS: dict[str, TypeAdapter[Any]] = {}


class RemoteProtocolError(Exception):
    """A party sent something that the contract does not allow. Code LNK001 to LNK004."""


def _adapter(type_name: str) -> TypeAdapter[Any]:
    if type_name not in _ADAPTERS:
        kind = _KINDS[type_name]
        kind.__pydantic_config__ = ConfigDict(extra="forbid", strict=False, allow_inf_nan=False)
        _ADAPTERS[type_name] = TypeAdapter(kind)
    return _ADAPTERS[type_name]


def adapter_of(kind: type[Any]) -> TypeAdapter[Any]:
    """Return what checks and writes bodies of a kind."""
    return _adapter(f"{_PREFIX}{kind.__name__.lower()}")


def type_name_of(body: Body) -> str:
    """Return the CloudEvents ``type`` of a body."""
    return f"{_PREFIX}{type(body).__name__.lower()}"


def to_time(at_us: int) -> str:
    """Write microseconds since the Unix epoch as RFC 3339 in UTC."""
    return (_EPOCH + timedelta(microseconds=at_us)).isoformat(timespec="microseconds")


def from_time(text: str) -> int:
    """Read RFC 3339 back to microseconds since the Unix epoch."""
    delta = datetime.fromisoformat(text) - _EPOCH
    return (delta.days * 86_400 + delta.seconds) * 1_000_000 + delta.microseconds


def encode(message: Message) -> bytes:
    """Return the message as UTF-8 JSON."""
    type_name = type_name_of(message.body)
    envelope: dict[str, Any] = {
        "specversion": "1.0",
        "id": f"{message.source}-{message.epoch}-{message.sequence}",
        "source": message.source,
        "type": type_name,
        "subject": message.subject,
        "time": to_time(message.sent_us),
        "datacontenttype": "application/json",
        "sequence": message.sequence,
        "epoch": message.epoch,
        "data": _adapter(type_name).dump_python(message.body, mode="json"),
    }
    if message.expires_us is not None:
        envelope["expirytime"] = to_time(message.expires_us)
    if message.ordinal is not None:
        envelope["ordinal"] = message.ordinal
    return json.dumps(envelope, separators=(",", ":"), allow_nan=False).encode()


def _whole(number: Any) -> int:
    """Return a whole number of the envelope; one beyond the bound would end whoever counts it."""
    if isinstance(number, bool) or not isinstance(number, int) or not 0 <= number <= WHOLE_MAX:
        raise ValueError(f"must be a whole number from 0 to {WHOLE_MAX}")
    return number


def decode(topic: str, payload: bytes) -> Message:
    """Check and read a message.

    Raises:
        RemoteProtocolError: LNK001 too large, LNK002 not JSON, LNK003 not the envelope,
            LNK004 not the body that its type promises.
    """
    if len(payload) > BYTES_MAX:
        raise RemoteProtocolError(
            f"MQTT {topic}: {len(payload)} bytes, must be at most {BYTES_MAX}; "
            "the message is dropped [LNK001]"
        )
    try:
        envelope = json.loads(payload)
        # Bare ASCII without an escape holds nothing else: most of what comes is not walked through.
        if b"\\" in payload or b"\x7f" in payload or not payload.isascii():
            envelope = _printable(envelope)
    except (ValueError, RecursionError) as error:
        raise RemoteProtocolError(f"MQTT {topic}: not JSON ({error}); dropped [LNK002]") from None
    try:
        data = envelope["data"]
        _require_bounded(data)
        body = _adapter(envelope["type"]).validate_python(data)
        expires, ordinal = envelope.get("expirytime"), envelope.get("ordinal")
        return Message(
            source=str(envelope["source"]),
            subject=str(envelope["subject"]),
            sequence=_whole(envelope["sequence"]),
            epoch=_whole(envelope["epoch"]),
            sent_us=from_time(envelope["time"]),
            body=body,
            expires_us=None if expires is None else from_time(expires),
            ordinal=None if ordinal is None else _whole(ordinal),
        )
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        raise RemoteProtocolError(
            f"MQTT {topic}: data.{where}: {first['msg']}; the message is dropped [LNK004]"
        ) from None
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise RemoteProtocolError(
            f"MQTT {topic}: envelope: {error!r}; the message is dropped [LNK003]"
        ) from None


def _require_bounded(data: object) -> None:
    """Refuse whole numbers that the core would count with; what is measured is judged there."""
    for name, value in data.items() if isinstance(data, dict) else ():
        if isinstance(value, int) and abs(value) > WHOLE_MAX:
            raise ValueError(f"data.{name} must be at most {WHOLE_MAX}")


def _printable(value: Any) -> Any:
    """Return a JSON value with a mark in place of every character that is not printed.

    Texts of a party come to terminals, pages and logs: an escape sequence would act there. They
    are kept but for that: a report is not lost over a line end in its words (WR12).
    """
    if isinstance(value, str):
        return value if value.isprintable() else "".join(map(_mark, value))
    if isinstance(value, dict):
        return {_printable(key): _printable(one) for key, one in value.items()}
    return [_printable(one) for one in value] if isinstance(value, list) else value


def _mark(character: str) -> str:
    if character in "\r\n\t":
        return " "
    return character if character.isprintable() else "\ufffd"
