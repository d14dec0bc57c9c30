"""Fold states that differ in nothing that can matter: times, numbers given out, spent counters.

Time is folded away altogether: a deadline either runs or does not, and any running one may be the
next to end. Real orders of deadlines are among those explored, so that a proof covers them all.

Units: ``*_us`` whole microseconds.
Invariants: PV5, folding loses no behaviour: what is folded is compared by the core only with
itself, with a deadline that the model ends by choice, or with a bound that the folded value keeps.
"""

from typing import assert_never

from coordinator.core.plan import NodeKind, Plan
from coordinator.core.state import (
    Asked,
    Command,
    Commanded,
    CoreFault,
    Lane,
    Meeting,
    MeetingPhase,
    OpenPrompt,
    Party,
    Pending,
    Phase,
    Recovering,
    Rest,
    SignalValue,
    Situation,
    State,
    StepPhase,
    Stopped,
    Watch,
)
from coordinator.prove.pieces import Pieces
from coordinator.prove.put_back import PHASES, PutBack
from coordinator.prove.stand_ins import UNRULED

FAR_US = 1_000_000_000_000
"""A running deadline; later than any time the model decides at."""
NOW_US = 1
"""The time at which every event of the model is decided."""
_CONTROL = 100
ENDING = (Phase.STOPPING, Phase.STOPPED, Phase.ABORTING, Phase.ABORTED)
_WHILE_RECOVERING = (UNRULED, CoreFault.REFUSED, CoreFault.OUTCOME_UNKNOWN)
"""What a move of a recovery may end with, beside what sets the fault anew."""
_WITHOUT_FAILURE = (
    UNRULED,
    *CoreFault,
)
"""Faults that the core may set to a lane before it counts them, or without."""
WAITING = Meeting()
"""What every barrier is at which nothing happens."""


class Folder:
    """Folds the states of one plan."""

    def __init__(self, plan: Plan, pieces: Pieces) -> None:
        self._bounds = tuple(
            {rule.fault: rule.attempts for rule in node.rules} for node in plan.nodes
        )
        self._is_step = tuple(node.kind is NodeKind.STEP for node in plan.nodes)
        self._plan = plan
        self._brought = _brought(plan)
        self._put_back = PutBack(plan)
        self._pieces = pieces
        self._lane_nodes = plan.lanes
        self._lane_cache: dict[tuple[Lane, int, int], Lane] = {}

    def fold(self, state: State, before: State | None = None, *, is_spent: bool = False) -> State:
        """Return the one state that stands for all that behave alike.

        Args:
            state: As it left the core.
            before: A folded state that it came from; what it has in common is taken from there.
            is_spent: Nothing more can go wrong, and nobody is silent.
        """
        if state.phase in ENDING:
            return self._fold_ending(state)
        numbers = {prompt.number: place for place, prompt in enumerate(state.prompts, start=1)}
        meetings, signals = state.meetings, state.signals
        if before is None or len(before.meetings) != len(meetings):
            meetings = tuple([self._fold_meeting(meeting) for meeting in meetings])
        elif meetings is not before.meetings:
            both = zip(meetings, before.meetings, strict=True)
            meetings = tuple([a if a is b else self._fold_meeting(a) for a, b in both])
        if before is None or signals is not before.signals:
            signals = tuple(SignalValue(signal.value, 0) for signal in signals)
        lanes = self._put_back.lanes(state) if state.phase in PHASES else state.lanes
        if is_spent and not state.prompts and not any(map(_is_in_trouble, lanes)):
            lanes = tuple(lane._replace(attempts=()) if lane.attempts else lane for lane in lanes)
        prompts = [
            OpenPrompt(numbers[one.number], one.prompt, one.lane, one.node, one.fault)
            for one in state.prompts
        ]
        # Made anew with every field, by place: a third of the time of `_replace` (measured).
        return State(
            state.phase,
            tuple(
                [
                    self._fold_lane(lane, place, numbers.get(lane.prompt, 0))
                    for place, lane in enumerate(lanes)
                ]
            ),
            meetings,
            signals,
            state.tripped,
            first_out=-1,
            zones=state.zones,
            prompts=tuple(prompts),
            command=2 * _CONTROL,
            prompt=len(numbers),
            renew_us=FAR_US,
            hold_us=FAR_US if state.hold_us else 0,
            reason="",
            mode=state.mode,
            overrides=state.overrides,
            acted=state.acted,
        )

    @staticmethod
    def _fold_ending(state: State) -> State:
        """Once the procedure stops or aborts, all that still counts is who stands."""
        return state._replace(
            lanes=tuple(
                Lane(
                    party=Party(lane.party.online, boot=1),
                    rest=Rest(lane.rest.held, _CONTROL + place),
                )
                for place, lane in enumerate(state.lanes)
            ),
            meetings=(),
            signals=tuple(SignalValue(True, 0) for _ in state.signals),
            tripped=tuple(False for _ in state.tripped),
            zones=tuple(-1 for _ in state.zones),
            prompts=(),
            command=2 * _CONTROL,
            prompt=0,
            renew_us=FAR_US,
            hold_us=FAR_US if state.hold_us else 0,
            reason="",
            first_out=-1,
            acted=(),
        )

    def _fold_lane(self, lane: Lane, place: int, prompt: int) -> Lane:
        key = (lane, place, prompt)
        known = self._lane_cache.get(key)
        if known is None:
            known = self._lane_cache[key] = self._folded(lane, place, prompt)
        return known

    def _folded(self, lane: Lane, place: int, prompt: int) -> Lane:
        lane = self._without_fault(lane)
        rest, watch = lane.rest, lane.watch
        return Lane(
            lane.done,
            lane.node,
            _folded_at(lane.at, place, prompt),
            self._fold_attempts(lane, place),
            allowed=lane.allowed,
            party=Party(lane.party.online, min(lane.party.boot, 1)),
            rest=Rest(rest.held, _CONTROL + place, FAR_US if rest.hold_us else 0, rest.failing),
            watch=Watch(
                watch.timer,
                FAR_US if watch.timer_us else 0,
                FAR_US if watch.timeout_us else 0,
            ),
        )

    def _fold_attempts(self, lane: Lane, place: int) -> tuple[tuple[int, str, int], ...]:
        """Forget failures of steps that cannot begin again, and count no further than bounds."""
        nodes = self._lane_nodes[place]
        if not nodes:
            return ()
        lowest = self._pieces.first_open(place, lane.done)
        first = self._pieces.starts[place][self._pieces.piece_of(min(lowest, nodes[-1]))]
        return tuple(
            (node, fault, count)
            for node, fault, failures in lane.attempts
            if node >= first
            for count in (min(failures, self._bound(lane, node, fault)),)
            if count
        )

    def _bound(self, lane: Lane, node: int, fault: str) -> int:
        """Return up to how many failures make a difference.

        A failure is counted before the count is compared, so until the next one the last that is
        allowed is like all that are not; that of the fault at hand may be compared once more. To
        the step that both of a pair begin with, a person's answer about the partner may bring a
        fault uncounted: any that can be at hand without a failure of this very step.
        """
        bound = self._bounds[node].get(fault, 1)
        is_at_hand = lane.node == node and lane.at.fault == fault
        is_brought = fault in self._brought.get(node, ()) or not self._is_step[node]
        return bound if is_at_hand or is_brought else bound - 1

    def _without_fault(self, lane: Lane) -> Lane:
        """Forget, while a lane outside pairs recovers, a fault that the step has no rule for.

        It has no moves and leads nowhere else; what a move of the recovery may end with has none
        either, so that it holds whichever of them is at hand.
        """
        at = lane.at
        if not isinstance(at, Recovering) or not at.fault or at.then or lane.rest.failing:
            return lane
        rules = self._bounds[lane.node]
        is_alone = self._is_step[lane.node] and self._plan.nodes[lane.node].span < 0
        if not is_alone or any(one in rules for one in (lane.at.fault, *_WHILE_RECOVERING)):
            return lane
        fault = CoreFault.OUTCOME_UNKNOWN if lane.unknown else ""
        return lane._replace(at=at._replace(fault=fault))

    @staticmethod
    def _fold_meeting(meeting: Meeting) -> Meeting:
        if meeting is WAITING:
            return meeting
        if (
            meeting.phase not in (MeetingPhase.ARMING, MeetingPhase.RELEASED)
            and not meeting.deadline_us
        ):
            # What has been passed shows in the lanes; nobody reads it here again.
            return WAITING
        return Meeting(
            phase=meeting.phase,
            epoch=0,
            deadline_us=FAR_US if meeting.deadline_us else 0,
            start_us=0,
            starts_us=tuple(min(start, 0) for start in meeting.starts_us)
            if meeting.phase is MeetingPhase.RELEASED
            else (),
        )


def _folded_at(at: Situation, place: int, prompt: int) -> Situation:
    """Fold away what a party has measured, and numbers given out."""
    match at:
        case Pending():
            return at._replace(evidence=()) if at.evidence else at
        case Commanded():
            live = at.command
            return at._replace(
                evidence=(), command=Command(place + 1, live.doing, None, live.unknown)
            )
        case Recovering():
            move = at.command
            command = Command(place + 1, move.doing, None, move.unknown) if move else None
            return at._replace(evidence=(), command=command)
        case Stopped():
            return at._replace(evidence=())
        case Asked():
            return at._replace(evidence=(), prompt=prompt)
    assert_never(at)


def _is_in_trouble(lane: Lane) -> bool:
    """Tell whether a failure may yet be counted, or compared with its bound, for a lane."""
    at = lane.at
    if isinstance(at, Pending):
        return bool(at.fault) or lane.rest.failing
    is_faulted = at.phase is StepPhase.FAULTED
    return bool(at.fault or lane.then) or lane.rest.failing or lane.unknown or is_faulted


def _brought(plan: Plan) -> dict[int, frozenset[str]]:
    """Return, for each step that a pair begins with, the faults that may come to it uncounted."""
    found: dict[int, frozenset[str]] = {}
    for span in plan.spans:
        for lane, nodes in zip(span.lanes, span.nodes, strict=True):
            opening = plan.barriers[span.opens]
            first = opening.next_nodes[opening.lanes.index(lane)]
            others = [plan.nodes[node] for node in nodes if node != first]
            found[first] = frozenset(
                (
                    *(rule.fault for other in others for rule in other.rules),
                    *(window.fault for other in others for window in other.windows),
                    *_WITHOUT_FAILURE,
                )
            )
    return found
