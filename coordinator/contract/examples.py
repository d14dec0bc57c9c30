"""One worked example of each message, on the invented barge; replayed by the tests.

They stand in `examples.jsonl` as they go over the wire, on a day in 2030, so that nobody takes one
for a message of today.
"""

from functools import cache
from importlib.resources import files
from typing import Any

from coordinator.wire.codec import decode
from coordinator.wire.messages import Message


@cache
def _examples() -> dict[type[Any], Message]:
    text = files("coordinator.contract").joinpath("examples.jsonl").read_bytes()
    messages = [decode("example", line) for line in text.splitlines()]
    return {type(one.body): one for one in messages}


def example_of(body: type[Any]) -> Message:
    """Return a worked example of a body."""
    return _examples()[body]
