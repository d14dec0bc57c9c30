"""Derive from the files every point between coordinator and cell that must be seen to work.

A point is one thing that a party tells: a signal, an interlock made of it, that it is on the bus, a
confirmation of a tool, a reading. It is checked when every state of it has been seen.

Invariants: CM13, the digest of a point covers what the files say about it and nothing else, so that
a changed file outdates the points concerned alone.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from coordinator.core.plan import Move, Node
from coordinator.records.event_codec import canonical
from coordinator.sequence import Loaded
from coordinator.wire.topics import FLOOR

THERE, GONE = "there", "gone"
TRUE, FALSE = "true", "false"
GOOD, ACTIVE, UNKNOWN = "good", "active", "unknown"
MOUNTED, OFF = "mounted", "off"
NUMBER = "a number"
ARM_STATES = ("held", "idle", "running")
"""Of the arm lifecycle, those that every arm passes through at work."""


@dataclass(frozen=True, slots=True)
class Point:
    """One line of the sheet."""

    tag: str
    """``party/what``, such as ``fore/tool/wrench``."""
    text: str
    expected: tuple[str, ...]
    """States that must all be seen."""
    digest: str

    @property
    def party(self) -> str:
        """Return whose it is: a side, or the floor."""
        return self.tag.partition("/")[0]


def points_of(loaded: Loaded) -> tuple[Point, ...]:
    """Return every point of a cell and of the sequence that runs on it, floor first."""
    return (*_floor_points(loaded), *_arm_points(loaded))


def parties_of(loaded: Loaded) -> tuple[str, ...]:
    """Return who can be simulated, in shadow or real: both sides, and the floor with the hoist."""
    return (*loaded.cell.sides, FLOOR)


def _floor_points(loaded: Loaded) -> Iterator[Point]:
    cell = loaded.cell
    for name, signal in cell.signals.items():
        said = signal.model_dump(mode="json")
        yield _point(f"{FLOOR}/signal/{name}", signal.text, (TRUE, FALSE), said)
    for name, interlock in cell.interlocks.items():
        said = interlock.model_dump(mode="json")
        if interlock.good_when in cell.signals:
            said |= {"signal": cell.signals[interlock.good_when].model_dump(mode="json")}
        states = (GOOD, ACTIVE, UNKNOWN)
        yield _point(f"{FLOOR}/{interlock.kind}/{name}", interlock.cause, states, said)
    if cell.hoist:
        yield _point(f"{FLOOR}/link", f"{cell.hoist} is on the bus", (THERE, GONE), cell.hoist)


def _arm_points(loaded: Loaded) -> Iterator[Point]:
    cell = loaded.cell
    for lane, (side, model) in enumerate(cell.sides.items()):
        yield _point(f"{side}/link", "it is on the bus", (THERE, GONE), side)
        yield _point(f"{side}/state", "how it says that it stands", ARM_STATES, side)
        for tool, one in model.tools.items():
            said = one.model_dump(mode="json")
            yield _point(f"{side}/tool/{tool}", "the changer confirms it", (MOUNTED, OFF), said)
        for reading, by in sorted(_readings(loaded, lane).items()):
            text = f"told by {', '.join(by)}"
            yield _point(f"{side}/reading/{reading}", text, (NUMBER,), by)


def _readings(loaded: Loaded, lane: int) -> dict[str, dict[str, Any]]:
    """Return what a lane's actions of this sequence tell, and how each is described."""
    found: dict[str, dict[str, Any]] = {}
    for node in loaded.plan.nodes:
        for move in _moves(node) if node.lane == lane else ():
            action = loaded.cell.actions.get(move.action)
            for result in () if action is None else action.results:
                said = {} if action is None else action.model_dump(mode="json")
                found.setdefault(result, {})[move.action] = said
    return {result: dict(sorted(by.items())) for result, by in found.items()}


def _moves(node: Node) -> Iterator[Move]:
    if node.move is not None:
        yield node.move
    for rule in node.rules:
        yield from rule.recover
    yield from node.rechecks


def _point(tag: str, text: str, expected: tuple[str, ...], said: object) -> Point:
    whole = canonical({"tag": tag, "expected": expected, "said": said})
    return Point(tag, text, expected, hashlib.sha256(whole.encode()).hexdigest())
