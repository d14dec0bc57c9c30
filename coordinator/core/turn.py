"""One turn of the core: the state as it changes while a single event is decided.

A turn never outlives `decide`; outside it there are only frozen states.

Invariants: D5, no lifecycle moves except along a declared transition.
"""

from collections.abc import Sequence
from typing import Literal, TypedDict, Unpack

from coordinator.core.effects import Effect, Notify, Severity
from coordinator.core.plan import Mode, Node, Plan
from coordinator.core.state import (
    Lane,
    Meeting,
    MeetingPhase,
    OpenPrompt,
    Override,
    Party,
    Phase,
    Rest,
    SignalValue,
    Situation,
    State,
    StepPhase,
    Watch,
)
from coordinator.lifecycles import BARRIER, PROCEDURE, STEP

StepTrigger = Literal[
    "send",
    "arm",
    "confirm",
    "release",
    "disarm",
    "accept",
    "finish",
    "fail",
    "recover",
    "ask",
    "withdraw",
    "interrupt",
    "again",
]
MeetingTrigger = Literal["arm", "release", "pass", "break", "expire", "again"]
Trigger = Literal[
    "start",
    "pause",
    "pause_done",
    "resume",
    "hold",
    "hold_done",
    "restart",
    "restart_done",
    "finish",
    "stop",
    "stop_done",
    "abort",
    "abort_done",
]
# The tables of the declared lifecycles with members for words: looking a member up by its word
# at each change would take as long as the change itself.
_STEP = {(StepPhase(at), by): StepPhase(to) for (at, by), to in STEP.table.items()}
_MEETING = {(MeetingPhase(at), by): MeetingPhase(to) for (at, by), to in BARRIER.table.items()}
_PROCEDURE = {(Phase(at), by): Phase(to) for (at, by), to in PROCEDURE.table.items()}
_PLACES = {name: place for place, name in enumerate(State._fields)}
_LANES = _PLACES["lanes"]


class _Changes(TypedDict, total=False):
    """Fields of the state that are changed by name; lanes and phase have ways of their own."""

    meetings: tuple[Meeting, ...]
    signals: tuple[SignalValue, ...]
    tripped: tuple[bool, ...]
    first_out: int
    zones: tuple[int, ...]
    prompts: tuple[OpenPrompt, ...]
    command: int
    prompt: int
    renew_us: int
    hold_us: int
    reason: str
    mode: Mode
    overrides: tuple[Override, ...]
    acted: tuple[int, ...]
    calls: tuple[str, ...]
    answered: tuple[tuple[int, str], ...]


class InvariantViolation(Exception):  # noqa: N818 (it is no error of the user's)
    """The core broke its own promise: we are wrong, not the world."""

    def __init__(self, invariant: str, text: str) -> None:
        super().__init__(f"{text} [{invariant}]")
        self.invariant = invariant


def require(condition: bool, invariant: str, text: str) -> None:
    """Raise `InvariantViolation` unless `condition` holds; unlike assert it stays on with -O."""
    if not condition:
        raise InvariantViolation(invariant, text)


def _met(phase: MeetingPhase, *by: MeetingTrigger) -> MeetingPhase:
    for trigger in by:
        phase = _MEETING.get((phase, trigger)) or MeetingPhase(BARRIER.after(phase, trigger))
    return phase


class Turn:
    """The plan, the time, the state so far and the effects so far."""

    __slots__ = ("effects", "now_us", "plan", "refusals", "state")

    def __init__(self, plan: Plan, state: State, now_us: int) -> None:
        self.plan = plan
        self.state = state
        self.now_us = now_us
        self.effects: list[Effect] = []
        self.refusals: tuple[str, ...] = ()
        """Every reason why an act of a person does not count."""

    def emit(self, effect: Effect) -> None:
        self.effects.append(effect)

    def notify(
        self, severity: Severity, kind: str, text: str, *, party: int = -1, node: int = -1
    ) -> None:
        self.effects.append(Notify(severity, kind, text, party, node))

    def refuse(self, kind: str, text: str) -> None:
        """Say why an act of a person does not count, to all and to whoever waits for its answer."""
        self.refusals = (*self.refusals, text)
        self.notify("warning", kind, text)

    def lane(self, index: int) -> Lane:
        return self.state.lanes[index]

    def node(self, index: int) -> Node:
        return self.plan.nodes[index]

    def name(self, lane: int) -> str:
        return self.plan.parties[lane].name

    def put(self, index: int, lane: Lane) -> None:
        """Put a changed lane in place of what it was."""
        # Not `_replace`: it takes three times as long (measured), and this is done most of all.
        values: list[object] = list(self.state)
        lanes = list(self.state.lanes)
        lanes[index] = lane
        values[_LANES] = tuple(lanes)
        self.state = tuple.__new__(State, values)

    def put_at(self, index: int, at: Situation) -> None:
        """Change what a lane's situation holds; to another situation leads only `step`."""
        done, node, was, attempts, begun, allowed, since_us, party, rest, watch = self.state.lanes[
            index
        ]
        # Always on: a situation in the wrong phase would show only much later, in what follows.
        if at.phase is not was.phase:
            raise InvariantViolation("D5", f"{was.phase} became {at.phase} by itself")
        lane = Lane(done, node, at, attempts, begun, allowed, since_us, party, rest, watch)
        self.put(index, lane)

    def put_party(self, index: int, party: Party) -> None:
        """Change what is known of a party."""
        done, node, at, attempts, begun, allowed, since_us, _, rest, watch = self.state.lanes[index]
        lane = Lane(done, node, at, attempts, begun, allowed, since_us, party, rest, watch)
        self.put(index, lane)

    def put_rest(self, index: int, rest: Rest) -> None:
        """Change whether a party stands, or what it was told about that."""
        self.put_order(index, rest, self.state.lanes[index].watch)

    def put_watch(self, index: int, watch: Watch) -> None:
        """Change a lane's deadlines."""
        done, node, at, attempts, begun, allowed, since_us, party, rest, _ = self.state.lanes[index]
        lane = Lane(done, node, at, attempts, begun, allowed, since_us, party, rest, watch)
        self.put(index, lane)

    def put_order(self, index: int, rest: Rest, watch: Watch) -> None:
        """Change what a party was told about standing, and the lane's deadlines with it."""
        done, node, at, attempts, begun, allowed, since_us, party, _, _ = self.state.lanes[index]
        lane = Lane(done, node, at, attempts, begun, allowed, since_us, party, rest, watch)
        self.put(index, lane)

    def step(
        self,
        index: int,
        at: Situation,
        *by: StepTrigger,
        node: int | None = None,
        done: int | None = None,
    ) -> None:
        """Move a lane along the step lifecycle into a situation of the phase that it comes to.

        Args:
            index: The lane.
            at: What it is then.
            by: The triggers, in their order.
            node: The node at hand then, if another.
            done: What is done then, if more or less.

        Raises:
            LifecycleError: the lifecycle declares no such move (D5).
            InvariantViolation: it leads elsewhere than to the situation (D5).
        """
        lane = self.state.lanes[index]
        phase: StepPhase = lane.at.phase
        # Several where a phase between is passed through within the turn: the end of a step.
        for trigger in by:
            phase = _STEP.get((phase, trigger)) or StepPhase(STEP.after(phase, trigger))
        if phase is not at.phase:
            raise InvariantViolation("D5", f"{by} leads to {phase}, not to {at.phase}")
        self.put(
            index,
            Lane(
                lane.done if done is None else done,
                lane.node if node is None else node,
                at,
                lane.attempts,
                lane.begun,
                lane.allowed,
                self.now_us,
                lane.party,
                lane.rest,
                lane.watch,
            ),
        )

    def meet(self, barrier: int, meeting: Meeting, *by: MeetingTrigger) -> None:
        """Change a meeting, moving it along the barrier lifecycle where triggers are given."""
        meetings = list(self.state.meetings)
        meetings[barrier] = meeting._replace(phase=_met(meetings[barrier].phase, *by))
        self.change(meetings=tuple(meetings))

    def end_meeting(self, barrier: int, *by: MeetingTrigger) -> None:
        """Move a meeting along its lifecycle to where nobody waits for anything any more."""
        self.end_meetings((barrier,), *by)

    def end_meetings(self, barriers: Sequence[int], *by: MeetingTrigger) -> None:
        """Do so with several: all rounds of a joint may be many."""
        meetings = list(self.state.meetings)
        for barrier in barriers:
            phase, epoch, _, start_us, starts_us = meetings[barrier]
            meetings[barrier] = Meeting(_met(phase, *by), epoch, 0, start_us, starts_us)
        self.change(meetings=tuple(meetings))

    def may(self, trigger: str) -> bool:
        """Tell whether the procedure's lifecycle declares a move from where it is."""
        return (self.state.phase, trigger) in _PROCEDURE

    def proceed(self, trigger: Trigger, **changes: Unpack[_Changes]) -> None:
        """Move the procedure along its lifecycle and change fields of the state with it."""
        phase = _PROCEDURE.get((self.state.phase, trigger))
        phase = phase or Phase(PROCEDURE.after(self.state.phase, trigger))
        self.change(**changes)
        self.state = self.state._replace(phase=phase)

    def change(self, **changes: Unpack[_Changes]) -> None:
        """Change fields of the state."""
        values: list[object] = list(self.state)
        for name, value in changes.items():
            values[_PLACES[name]] = value
        self.state = tuple.__new__(State, values)

    def next_command(self) -> int:
        self.change(command=self.state.command + 1)
        return self.state.command

    def count_begin(self, index: int, node: int, by: int = 1) -> None:
        """Count that a step begins once more, or take that back; only of one that proves something.

        Args:
            index: The lane.
            node: The step.
            by: -1 where it was released and its party never began it.
        """
        if self.plan.nodes[node].record is None:
            return
        # Kept sorted: two orders of the same counts would be two states to the proof.
        lane = self.state.lanes[index]
        counts = dict(lane.begun)
        counts[node] = counts.get(node, 0) + by
        begun = tuple(sorted((at, times) for at, times in counts.items() if times > 0))
        self.put(index, lane._replace(begun=begun))

    def begun(self, index: int, node: int) -> int:
        """Return how often a step that proves something has begun."""
        return dict(self.state.lanes[index].begun).get(node, 0)

    def count_failure(self, index: int, node: int, fault: str) -> int:
        """Count one more failure of a node; return the new count."""
        lane = self.state.lanes[index]
        counts = {(n, f): c for n, f, c in lane.attempts}
        counts[node, fault] = counts.get((node, fault), 0) + 1
        attempts = tuple(sorted((n, f, c) for (n, f), c in counts.items()))
        self.put(index, lane._replace(attempts=attempts))
        return counts[node, fault]

    def failures(self, lane: int, node: int, fault: str) -> int:
        """Return how often a node has failed so."""
        for n, f, c in self.lane(lane).attempts:
            if n == node and f == fault:
                return c
        return 0
