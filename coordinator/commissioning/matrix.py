"""Derive the cause-and-effect matrix from the files: what each interlock must do, and must not.

A cell is one interlock, one way in which it becomes active, and one effect that must come or must
stay away. A step that the file lets go on all the same, with its reason, is an effect of its own.

Invariants: CM7, the digest of a cell of the matrix covers what the files say about it and nothing
else.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from enum import StrEnum

from coordinator.core.plan import Interlock, InterlockKind, Plan
from coordinator.records.event_codec import canonical

FALSE, UNKNOWN, SILENT = "false", "unknown", "silent"
CAUSES = (FALSE, UNKNOWN, SILENT)
"""The signal says no; it has no value; it is too old to count."""


class EffectKind(StrEnum):
    """What is looked at."""

    NO_START = "start refused"
    NO_MOTION = "no motion begun"
    HOLD = "both arms hold"
    LATCH = "latched until reset"
    STILL = "clearing moves nothing"
    GOES_ON = "goes on"
    """A step that the file excepts, with a reason."""


COLUMNS = (
    EffectKind.NO_START,
    EffectKind.NO_MOTION,
    EffectKind.HOLD,
    EffectKind.LATCH,
    EffectKind.STILL,
)
EXPECTED: dict[InterlockKind, dict[EffectKind, bool]] = {
    InterlockKind.TRIP: dict.fromkeys(COLUMNS, True),
    InterlockKind.INTERLOCK: {
        EffectKind.NO_MOTION: True,
        EffectKind.HOLD: True,
        EffectKind.LATCH: False,
        EffectKind.STILL: True,
    },
    InterlockKind.PERMISSIVE: {EffectKind.NO_START: True, EffectKind.HOLD: False},
}
"""By kind: True where the effect must come, False where it must stay away; the rest is empty."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One crossing of the matrix."""

    interlock: str
    kind: str
    cause: str
    effect: EffectKind
    expected: bool
    action: str = ""
    """What goes on, at an exception."""
    reason: str = ""
    """Why it may, in the author's words."""
    digest: str = ""

    @property
    def name(self) -> str:
        """Return what other papers call it."""
        at = f" at {self.action}" if self.action else ""
        return f"{self.interlock} {self.cause}: {self.effect}{at}"


def matrix_of(plan: Plan) -> tuple[Cell, ...]:
    """Return every cell, interlock by interlock in the order of the file."""
    return tuple(cell for index in range(len(plan.interlocks)) for cell in _cells(plan, index))


def _cells(plan: Plan, index: int) -> Iterator[Cell]:
    interlock = plan.interlocks[index]
    said: dict[str, object] = {
        "interlock": asdict(interlock),
        "signal": asdict(plan.signals[interlock.signal]),
    }
    for cause in CAUSES:
        for effect, expected in EXPECTED[interlock.kind].items():
            yield _cell(interlock, cause, effect, expected, said)
    for action, reasons in exceptions_of(plan, index).items():
        whole = {**said, "action": action, "reasons": reasons}
        made = _cell(interlock, FALSE, EffectKind.GOES_ON, True, whole)
        yield replace(made, action=action, reason="; ".join(reasons))


def exceptions_of(plan: Plan, index: int) -> dict[str, tuple[str, ...]]:
    """Return the actions with steps that go on while an interlock is active, and the reasons."""
    found: dict[str, tuple[str, ...]] = {}
    for node in plan.nodes:
        for interlock, reason in node.exceptions:
            # A trip knows no exception.
            if interlock == index and node.move is not None and may_except(plan, index):
                known = found.get(node.move.action, ())
                found[node.move.action] = known if reason in known else (*known, reason)
    return found


def may_except(plan: Plan, index: int) -> bool:
    """Tell whether steps can be excepted from an interlock."""
    return plan.interlocks[index].kind is not InterlockKind.TRIP


def excepts(plan: Plan, node: int, index: int) -> bool:
    """Tell whether a step may go on while an interlock is active."""
    return may_except(plan, index) and any(one == index for one, _ in plan.nodes[node].exceptions)


def _cell(
    interlock: Interlock, cause: str, effect: EffectKind, expected: bool, said: dict[str, object]
) -> Cell:
    whole = canonical({"said": said, "cause": cause, "effect": effect, "expected": expected})
    digest = hashlib.sha256(whole.encode()).hexdigest()
    return Cell(interlock.name, str(interlock.kind), cause, effect, expected, digest=digest)
