"""Tell what in a newer contract breaks parties that were written to an older one.

A field may be added if a party may leave it out; nothing that was there may go, change its type,
or become required, and no word of an enumeration may be dropped.

Invariants: CN2, a change that old parties would misread is told.
"""

from collections.abc import Iterator, Mapping
from typing import Any

_TEXTS = ("title", "description", "examples", "default")
Schema = Mapping[str, Any]


def breaking_changes(was: Schema, now: Schema) -> tuple[str, ...]:
    """Return, in words, what breaks parties written to the AsyncAPI document `was`."""
    found = [*_addresses(was["channels"], now["channels"])]
    before, after = (one["components"]["messages"] for one in (was, now))
    for name in before:
        if name not in after:
            found.append(f"message {name} is gone")
        else:
            found += _schema(name, before[name]["payload"], after[name]["payload"])
    return tuple(found)


def _addresses(was: Schema, now: Schema) -> Iterator[str]:
    for name, channel in was.items():
        if name not in now:
            yield f"channel {name} is gone"
        elif now[name]["address"] != channel["address"]:
            yield f"channel {name} is now at {now[name]['address']}, was at {channel['address']}"
        else:
            gone = sorted(set(channel["messages"]) - set(now[name]["messages"]))
            yield from (f"message {one} is no longer on channel {name}" for one in gone)


def _schema(at: str, was: Schema, now: Schema) -> Iterator[str]:
    """Compare two schemas of one place."""
    for key in sorted({*was, *now} - {*_TEXTS, "properties", "required", "enum", "anyOf", "items"}):
        if was.get(key) != now.get(key):
            yield f"{at}: {key} is now {now.get(key)!r}, was {was.get(key)!r}"
    dropped = [word for word in was.get("enum", ()) if word not in now.get("enum", (word,))]
    yield from (f"{at}: no longer takes {word!r}" for word in dropped)
    added = sorted(set(now.get("required", ())) - set(was.get("required", ())))
    yield from (f"{at}: {name} must be given now" for name in added)
    before, after = was.get("properties", {}), now.get("properties", {})
    for name, schema in before.items():
        if name in after:
            yield from _schema(f"{at}.{name}", schema, after[name])
        else:
            yield f"{at}: {name} is gone"
    for key in ("anyOf", "items"):
        if key in was and _plain(was[key]) != _plain(now.get(key)):
            yield f"{at}: is of another kind now"


def _plain(value: Any) -> Any:
    """Return a schema without its texts."""
    if isinstance(value, Mapping):
        return {key: _plain(one) for key, one in value.items() if key not in _TEXTS}
    return [_plain(one) for one in value] if isinstance(value, list | tuple) else value
