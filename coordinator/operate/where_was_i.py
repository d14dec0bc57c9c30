"""Tell a person who comes back to a run where it was left, and what the arms answer about it.

Units: ``*_us`` whole microseconds since the run began.
"""

from collections.abc import Callable
from dataclasses import asdict, dataclass

from coordinator.core.effects import Effect
from coordinator.core.events import Event
from coordinator.core.plan import Plan
from coordinator.core.state import Lane, State
from coordinator.live.explain import steps_done
from coordinator.operate.live_lines import stamp
from coordinator.records.journal import Head, Journal
from coordinator.records.replaying import Replaying


@dataclass(frozen=True, slots=True)
class LanePlace:
    """Where one lane was left."""

    name: str
    done: int
    """Steps done."""
    of: int
    done_last: str
    at_hand: str
    state: str
    """`done`, `not started`, or `unknown` until its party has been asked."""
    next: str
    heard_us: int = 0
    """When its party gave its last sign of life."""


@dataclass(frozen=True, slots=True)
class Card:
    """Where a run was left, by its journal alone."""

    run: str
    started: str
    left_us: int
    phase: str
    reason: str
    lanes: tuple[LanePlace, ...]
    prompts: tuple[str, ...]
    tripped: tuple[str, ...]
    events: int
    torn_bytes: int
    """Of a last write that the crash broke off: nothing that followed from it had left."""

    def lines(self) -> list[str]:
        """Return the card for people."""
        said = [
            f"WHERE WAS I: run {self.run}, begun {self.started}",
            f"  left {stamp(self.left_us)} into the run, {self.phase}"
            + (f": {self.reason}" if self.reason else "")
            + f"; {self.events} events in the journal",
        ]
        if self.torn_bytes:
            said.append(
                "  the last write is not whole, broken off by a crash or being made just now; "
                "nothing had followed from it"
            )
        said += [
            f"  {lane.name}: {lane.done} of {lane.of} steps done, the last: "
            f"{lane.done_last or 'none'}; {lane.at_hand or 'between steps'}: {lane.state}; "
            f"next: {lane.next}; heard last at {stamp(lane.heard_us)}"
            for lane in self.lanes
        ]
        said += [f"  a person was asked: {text}; it is asked again" for text in self.prompts]
        said += [f"  tripped and not reset: {name}" for name in self.tripped]
        return said

    def document(self) -> dict[str, object]:
        """Return the card for scripts."""
        return asdict(self)


def card_of(plan: Plan, head: Head, replayed: Replaying, journal: Journal) -> Card:
    """Read the card off a replayed journal."""
    state = replayed.state
    places = [
        _place(plan, index, lane, replayed.done[index]) for index, lane in enumerate(state.lanes)
    ]
    return Card(
        run=head.run,
        started=head.started,
        left_us=replayed.at_us,
        phase=state.phase,
        reason=state.reason,
        lanes=tuple(places),
        prompts=tuple(f"{plan.nodes[one.node].name}, {one.fault}" for one in state.prompts),
        tripped=tuple(
            one.name
            for one, is_tripped in zip(plan.interlocks, state.tripped, strict=True)
            if is_tripped
        ),
        events=replayed.events,
        torn_bytes=journal.torn_bytes,
    )


class AnswersTold:
    """Listens to a resumed coordinator and says what each party answers about its last command."""

    def __init__(self, plan: Plan, state: State, say: Callable[[str], None]) -> None:
        self._plan = plan
        self._say = say
        self._open = {index: lane.command for index, lane in enumerate(state.lanes) if lane.command}
        self._nodes = {index: state.lanes[index].node for index in self._open}
        self.outcomes: dict[str, str] = {}

    def __call__(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        """Take in one decision."""
        for index, command in list(self._open.items()):
            lane = state.lanes[index]
            if lane.command == command:
                continue
            del self._open[index]
            node = self._nodes[index]
            words = _outcome(lane, node)
            name = self._plan.parties[index].name
            self.outcomes[name] = words
            self._say(f"{stamp(event.at_us)} {name} answers: {self._plan.nodes[node].name} {words}")


def _outcome(lane: Lane, node: int) -> str:
    if lane.is_done(node):
        return "is done"
    if lane.unknown:
        return "is unknown; a person looks and says, after the restart"
    if lane.phase in ("pending",):
        return "has not started"
    return f"was broken off ({lane.at.fault or 'held'})"


def _place(plan: Plan, index: int, lane: Lane, done_last: str) -> LanePlace:
    done, steps = steps_done(plan, index, lane)
    following = [n for n in plan.lanes[index] if not lane.is_done(n) and n != lane.node]
    name = plan.parties[index].name
    return LanePlace(
        name=name,
        done=done,
        of=steps,
        done_last=done_last,
        at_hand=plan.nodes[lane.node].name if lane.node >= 0 else "",
        state=f"unknown until {name} has been asked" if lane.command else "not started",
        next=plan.nodes[following[0]].name if following else "nothing",
        heard_us=lane.party.seen_us,
    )
