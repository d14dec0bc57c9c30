"""Strategies for every event of the core and every message of the wire."""

from dataclasses import fields
from typing import Any, get_args

from hypothesis import strategies as st

from coordinator.core.events import Act, Event
from coordinator.wire.messages import Body, Message, Trace, Value

_PRINTABLE = st.characters(exclude_categories=("C", "Zl", "Zp", "Zs"), include_characters=" ")
WORDS = st.text(_PRINTABLE, max_size=12)
"""What a text of a party may hold: what else it says is marked when it is read."""
NAMES = st.text(_PRINTABLE, min_size=1, max_size=12)
WHOLE = st.integers(-(2**53), 2**53)
COUNTED = st.integers(0, 2**53 - 1)
"""Whole numbers of the wire."""
NUMBERS = st.floats(allow_nan=False, allow_infinity=False)
VALUES: st.SearchStrategy[Value] = st.one_of(st.booleans(), WHOLE, NUMBERS, WORDS)
RESULTS = st.dictionaries(NAMES, NUMBERS, max_size=4).map(
    lambda results: tuple(sorted(results.items()))
)
EVENT_FIELDS: dict[str, st.SearchStrategy[Any]] = {
    "act": st.sampled_from(Act),
    "results": RESULTS,
    "evidence": RESULTS,
    "torque_nm": st.none() | WHOLE,
    "value": st.none() | st.booleans(),
    "call": st.text(max_size=12),
    "because": st.text(max_size=12),
    "who": st.text(max_size=12),
    "option": st.text(max_size=12),
    "fault": st.text(max_size=12),
    "reason": st.text(max_size=12),
}


_BY_TYPE: dict[Any, st.SearchStrategy[Any]] = {
    int: COUNTED,
    str: WORDS,
    str | None: st.none() | WORDS,
}


def events() -> st.SearchStrategy[Event]:
    """Return any event; a new kind or field joins by itself, as a whole number."""
    return st.one_of(
        [
            st.builds(
                kind, **{field.name: EVENT_FIELDS.get(field.name, WHOLE) for field in fields(kind)}
            )
            for kind in get_args(Event)
        ]
    )


def _traces() -> st.SearchStrategy[Trace]:
    column = st.lists(NUMBERS, max_size=5).map(tuple)
    return st.builds(Trace, column, column, column, column)


def bodies() -> st.SearchStrategy[Body]:
    """Return any body of the wire, built from its types."""
    st.register_type_strategy(Trace, _traces())
    mapping = st.dictionaries(NAMES, VALUES, max_size=4)
    special: dict[str, st.SearchStrategy[Any]] = {
        "parameters": mapping,
        "results": mapping,
        "evidence": mapping,
        "facts": mapping,
        "signals": st.dictionaries(NAMES, st.none() | st.booleans(), max_size=4),
        "trace": st.none() | _traces(),
        "torque_nm": st.none() | NUMBERS,
        "pressure_pa": st.none() | NUMBERS,
        "angle_rad": st.none() | NUMBERS,
    }
    return st.one_of(
        [
            st.builds(
                kind,
                **{
                    one.name: special[one.name] if one.name in special else _BY_TYPE[one.type]
                    for one in fields(kind)
                    if one.name in special or one.type in _BY_TYPE
                },
            )
            for kind in get_args(Body)
        ]
    )


def messages() -> st.SearchStrategy[Message]:
    """Return any message; times lie within what RFC 3339 can write."""
    times = st.integers(-62_135_596_800_000_000, 253_402_300_799_999_999)
    return st.builds(
        Message,
        source=NAMES,
        subject=NAMES,
        sequence=COUNTED,
        epoch=COUNTED,
        sent_us=times,
        body=bodies(),
        expires_us=st.none() | times,
    )
