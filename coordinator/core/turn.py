"""One turn of the core: the state as it changes while a single event is decided.

A turn never outlives `decide`; outside it there are only frozen states.
"""

from collections.abc import Sequence
from typing import Any, TypeVar

from coordinator.core.effects import Effect, Notify, Severity
from coordinator.core.plan import Node, Plan
from coordinator.core.state import Lane, Meeting, State
from coordinator.lifecycles import BARRIER, PROCEDURE, STEP

_LANE = {name: place for place, name in enumerate(Lane._fields)}
_STATE = {name: place for place, name in enumerate(State._fields)}
_MEETING = {name: place for place, name in enumerate(Meeting._fields)}
_LANES = _STATE["lanes"]
_Named = TypeVar("_Named", bound=tuple[Any, ...])


def _changed(old: _Named, places: dict[str, int], changes: dict[str, Any]) -> _Named:
    """Return a named tuple with other values; a third of the time of `_replace` (measured)."""
    values = list(old)
    for name, value in changes.items():
        values[places[name]] = value
    return tuple.__new__(type(old), values)


class InvariantViolation(Exception):  # noqa: N818 (it is no error of the user's)
    """The core broke its own promise: we are wrong, not the world."""

    def __init__(self, invariant: str, text: str) -> None:
        super().__init__(f"{text} [{invariant}]")
        self.invariant = invariant


def require(condition: bool, invariant: str, text: str) -> None:
    """Raise `InvariantViolation` unless `condition` holds; unlike assert it stays on with -O."""
    if not condition:
        raise InvariantViolation(invariant, text)


class Turn:
    """The plan, the time, the state so far and the effects so far."""

    __slots__ = ("effects", "now_us", "plan", "state")

    def __init__(self, plan: Plan, state: State, now_us: int) -> None:
        self.plan = plan
        self.state = state
        self.now_us = now_us
        self.effects: list[Effect] = []

    def emit(self, effect: Effect) -> None:
        self.effects.append(effect)

    def notify(
        self, severity: Severity, kind: str, text: str, *, party: int = -1, node: int = -1
    ) -> None:
        self.effects.append(Notify(severity, kind, text, party, node))

    def lane(self, index: int) -> Lane:
        return self.state.lanes[index]

    def node(self, index: int) -> Node:
        return self.plan.nodes[index]

    def name(self, lane: int) -> str:
        return self.plan.parties[lane].name

    def put(self, index: int, **changes: Any) -> None:
        """Change fields of a lane."""
        values = list(self.state)
        lanes = list(self.state.lanes)
        lanes[index] = _changed(lanes[index], _LANE, changes)
        values[_LANES] = tuple(lanes)
        self.state = tuple.__new__(State, values)

    def step(self, index: int, trigger: str, **changes: Any) -> None:
        """Move a lane along the step lifecycle and change fields with it."""
        phase = STEP.after(self.lane(index).phase, trigger)
        self.put(index, phase=phase, since_us=self.now_us, **changes)

    def meet(self, barrier: int, trigger: str | None = None, **changes: Any) -> None:
        """Move a meeting along the barrier lifecycle and change fields with it."""
        meetings = self.state.meetings
        meeting: Meeting = meetings[barrier]
        if trigger is not None:
            changes["phase"] = BARRIER.after(meeting.phase, trigger)
        meeting = _changed(meeting, _MEETING, changes)
        self.change(meetings=(*meetings[:barrier], meeting, *meetings[barrier + 1 :]))

    def meet_again(self, barriers: Sequence[int]) -> None:
        """Let all of some barriers be met once more."""
        meetings = list(self.state.meetings)
        for barrier in barriers:
            phase = BARRIER.after(meetings[barrier].phase, "again")
            changes = {"phase": phase, "deadline_us": 0}
            meetings[barrier] = _changed(meetings[barrier], _MEETING, changes)
        self.change(meetings=tuple(meetings))

    def proceed(self, trigger: str, **changes: Any) -> None:
        """Move the procedure along its lifecycle and change fields of the state with it."""
        phase = PROCEDURE.after(self.state.phase, trigger)
        self.change(phase=phase, **changes)

    def change(self, **changes: Any) -> None:
        """Change fields of the state."""
        self.state = _changed(self.state, _STATE, changes)

    def next_command(self) -> int:
        self.change(command=self.state.command + 1)
        return self.state.command

    def count(self, lane: int, node: int, fault: str) -> int:
        """Count one more failure (or start, with fault "") of a node; return the new count."""
        counts = {(n, f): c for n, f, c in self.lane(lane).attempts}
        counts[node, fault] = counts.get((node, fault), 0) + 1
        self.put(lane, attempts=tuple(sorted((n, f, c) for (n, f), c in counts.items())))
        return counts[node, fault]

    def counted(self, lane: int, node: int, fault: str) -> int:
        """Return how often a node has failed so, or begun (fault "")."""
        for n, f, c in self.lane(lane).attempts:
            if n == node and f == fault:
                return c
        return 0
