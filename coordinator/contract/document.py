"""Make the AsyncAPI document and the JSON Schemas of the wire contract from the wire models.

Units: stand in the names of the fields, as on the wire.
Invariants: CN1, what the document says of a body is what the codec checks.
Source: AsyncAPI Specification 3.0.0, 2023; CloudEvents 1.0.2, CNCF; JSON Schema draft 2020-12.
"""

import json
from functools import cache
from importlib.resources import files
from typing import Any, get_args

from pydantic import TypeAdapter

from coordinator.wire.codec import BYTES_MAX, adapter_of, decode, encode, type_name_of
from coordinator.wire.messages import Body, Command, Lease, Message
from coordinator.wire.topics import ROOT, channel_of, is_retained, quality_of

VERSION = "1.2.0"
"""Of the contract. A field or body that is added raises the second number; what old parties would
misread raises the first."""
DIALECT = "https://json-schema.org/draft/2020-12/schema"
_SAID = {
    "command": "What the coordinator tells one party to do, or to stop doing.",
    "lease": "How long arms may move, and under which caps; to everybody.",
    "report": "What became of commands.",
    "telemetry": "Signs of work, with what the tool feels.",
    "state": "How a party stands; its will says that it is gone. Retained, to be shown only.",
    "signals": "The floor's signals. Retained, to be shown only.",
    "simulated": "Facts about simulated steel, between simulated parties alone.",
}
Document = dict[str, Any]


def bodies() -> tuple[type[Any], ...]:
    """Return every body of the contract."""
    return get_args(Body)


def schema_of(body: type[Any]) -> Document:
    """Return the JSON Schema of a whole message with a body of this kind."""
    adapter: TypeAdapter[Any] = adapter_of(body)
    data = adapter.json_schema()
    data = _inlined(data, data.pop("$defs", {}))
    envelope = json.loads(files("coordinator.contract").joinpath("envelope.json").read_bytes())
    expiry = ("expirytime",) if body in (*get_args(Command), Lease) else ()
    return {
        "$schema": DIALECT,
        "title": body.__name__,
        "description": _sentence(body),
        "type": "object",
        "required": [*envelope["required"], *expiry],
        "properties": envelope["properties"]
        | {"type": {"const": f"org.bothsides.{body.__name__.lower()}"}, "data": data},
    }


def document(cell: str = "{cell}") -> Document:
    """Return the AsyncAPI document, seen from a party that is to take part.

    Args:
        cell: Name of the cell in the topics; a parameter of the document without it.
    """
    channels: dict[str, list[type[Any]]] = {}
    for body in bodies():
        channels.setdefault(channel_of(example_of(body).body), []).append(body)
    return {
        "asyncapi": "3.0.0",
        "info": {
            "title": "Bothsides wire contract",
            "version": VERSION,
            "description": "What a party (an arm, the floor) says and hears on the bus. WARNING: "
            "arms move on these messages; holds are operational and replace no guarding, local "
            f"code or licensed practice. A message is at most {BYTES_MAX} bytes.",
        },
        "defaultContentType": "application/json",
        "channels": {name: _channel(name, cell, own) for name, own in channels.items()},
        "operations": {name: _operation(name, own) for name, own in channels.items()},
        "components": {
            "messages": {body.__name__: _message(body) for body in bodies()},
        },
    }


def _channel(name: str, cell: str, own: list[type[Any]]) -> Document:
    party = {"lease": "all", "signals": "floor"}.get(name, "{party}")
    parameters = {
        key: {"description": text}
        for key, text in (("cell", "Name of the cell."), ("party", "Whom the messages concern."))
        if "{" + key + "}" in (cell, party)
    }
    return {
        "address": f"{ROOT}/{cell}/{party}/{name}",
        "description": _SAID[name],
        **({"parameters": parameters} if parameters else {}),
        "messages": {
            body.__name__: {"$ref": f"#/components/messages/{body.__name__}"} for body in own
        },
    }


def _operation(name: str, own: list[type[Any]]) -> Document:
    body = example_of(own[0]).body
    return {
        "action": "receive" if name in ("command", "lease") else "send",
        "channel": {"$ref": f"#/channels/{name}"},
        "summary": _SAID[name],
        "bindings": {
            "mqtt": {
                "qos": quality_of(body),
                "retain": is_retained(body),
                "bindingVersion": "0.2.0",
            }
        },
        "messages": [{"$ref": f"#/channels/{name}/messages/{one.__name__}"} for one in own],
    }


def _message(body: type[Any]) -> Document:
    schema = schema_of(body)
    example = example_of(body)
    return {
        "name": type_name_of(example.body),
        "title": body.__name__,
        "summary": _sentence(body),
        "contentType": "application/json",
        "payload": {key: value for key, value in schema.items() if key != "$schema"},
        "examples": [{"name": body.__name__.lower(), "payload": json.loads(encode(example))}],
    }


def _inlined(value: Any, definitions: Document) -> Any:
    """Return a schema with what it refers to in its place: a reference would look elsewhere."""
    if isinstance(value, list):
        return [_inlined(one, definitions) for one in value]
    if not isinstance(value, dict):
        return value
    if "$ref" in value:
        return _inlined(definitions[value["$ref"].rpartition("/")[2]], definitions)
    return {key: _inlined(one, definitions) for key, one in value.items()}


def _sentence(body: type[Any]) -> str:
    text = " ".join((body.__doc__ or "").split())
    return "" if text.startswith(f"{body.__name__}(") else text


@cache
def _examples() -> dict[type[Any], Message]:
    text = files("coordinator.contract").joinpath("examples.jsonl").read_bytes()
    messages = [decode("example", line) for line in text.splitlines()]
    return {type(one.body): one for one in messages}


def example_of(body: type[Any]) -> Message:
    """Return a worked example of a body, as it stands in `examples.jsonl`.

    It is of a day in 2030, so that nobody takes it for a message of today.
    """
    return _examples()[body]
