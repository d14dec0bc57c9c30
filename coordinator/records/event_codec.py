"""Write events of the core as JSON and read them back, exactly.

Invariants: J2, decode after encode is the identity, and what was decided is decided again in a
replay.
"""

import json
from collections.abc import Mapping
from dataclasses import fields
from typing import Any, get_args

from coordinator.core.events import Act, Event

_LEFT_OUT = ("call", "expires_us", "because")
_KINDS: Mapping[str, type[Any]] = {kind.__name__: kind for kind in get_args(Event)}


def encode_event(event: Event) -> tuple[str, str]:
    """Return (kind, body) of an event; the body is canonical JSON."""
    body = {field.name: getattr(event, field.name) for field in fields(event)}
    # Left out where they say nothing: such events read as they were always written.
    for name in _LEFT_OUT:
        if name in body and not body[name]:
            del body[name]
    return type(event).__name__, canonical(body)


def decode_event(kind: str, body: str) -> Event:
    """Read an event back.

    Raises:
        ValueError: the kind is unknown or the body does not fit it.
    """
    if kind not in _KINDS:
        raise ValueError(f"no event is called '{kind}'")
    values: dict[str, Any] = json.loads(body)
    for key in ("results", "evidence"):
        if key in values:
            values[key] = tuple((name, float(number)) for name, number in values[key])
    if "act" in values:
        values["act"] = Act(values["act"])
    try:
        event: Event = _KINDS[kind](**values)
    except TypeError as error:
        raise ValueError(f"event '{kind}': {error}") from None
    return event


def canonical(value: object) -> str:
    """Return JSON with sorted keys and no blanks, so that equal values give equal text."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), allow_nan=False)
