"""Judge what leaves the core: the properties that every interleaving must keep.

The judges read effects and what the world has said; of the core's own state they read the phase,
the signals and which steps are done.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from coordinator.core.effects import Effect, SendDo, SendRelease
from coordinator.core.plan import InterlockKind, Plan
from coordinator.core.state import Doing, Lane, State
from coordinator.invariants import INVARIANTS

PROPERTIES = {one.property: one.text for one in INVARIANTS.values() if one.property}
"""What is judged, by the name that tells that it is broken."""


@dataclass(frozen=True, slots=True)
class Happened:
    """One thing that happened on the way to a violation."""

    lane: int
    """-1 where no party did it: the floor, a person, a barrier."""
    words: str
    node: int = -1
    """The step at hand, -1 for none."""
    step: str = ""
    """The step at hand in words."""
    place: str = ""
    """`file:line:column` of the step."""
    is_cause: bool = False
    """Something went wrong by it."""


def happened_at(
    plan: Plan, node: int, words: str, *, move: str = "", is_cause: bool = False
) -> Happened:
    """Return what happened at a step; `move` is the action at hand while recovering."""
    at = plan.nodes[node]
    what = f"{move}, recovering {at.name}" if move else at.name
    origin = at.origin
    place = f"{origin.file}:{origin.line}:{origin.column}" if origin.file else ""
    return Happened(at.lane, words, node, what, place, is_cause)


@dataclass(frozen=True, slots=True)
class Standing:
    """How one lane, or all that is no lane, stands at the end of a counterexample."""

    who: str
    state: str
    """What it is at, or that it is done."""
    waits: tuple[str, ...] = ()
    """Everything that it waits for."""
    node: int = -1
    step: str = ""
    place: str = ""
    """`file:line:column` of the step."""


@dataclass(frozen=True, slots=True)
class Violation:
    """A property that does not hold, and the shortest way to see it."""

    property: str
    text: str
    path: tuple[str, ...]
    """What happened, from the start; each line names its party, step, file and line."""
    causes: int
    course: tuple[Happened, ...] = ()
    """The same, each with its parts apart."""
    broken_by: tuple[Happened, ...] = ()
    """What the last of it brings that breaks the property; empty where a state by itself does."""
    end: State | None = None
    """How it stands in the end; None where that cannot be told."""
    later: int = 0
    """Things that happen after the course, none of them wrong, until it stands so for good."""
    silent: tuple[bool, ...] = ()
    """Parties that answer nothing at the end."""
    still: tuple[str, ...] = ()
    """What may still happen at the end with no more going wrong."""


class Judge:
    """Judges the effects of one decision in one plan."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._first = {
            node
            for barrier in plan.barriers
            if barrier.span >= 0
            for node in barrier.next_nodes
            if node >= 0
        }
        self._gates = tuple(
            (index, interlock.signal, interlock.kind is InterlockKind.TRIP)
            for index, interlock in enumerate(plan.interlocks)
            if interlock.kind is not InterlockKind.PERMISSIVE
        )
        self._pulls = tuple(
            (node, step.record.bolt, step.record.round)
            for node, step in enumerate(plan.nodes)
            if step.record is not None and step.record.kind == "pull"
        )
        self._opposite = _opposite(plan)

    def judge(
        self, before: State, after: State, effects: Sequence[Effect]
    ) -> tuple[str, str] | None:
        """Return the (property, text) that a decision breaks, or None."""
        for effect in effects:
            if isinstance(effect, SendDo):
                found = self._judge_do(before, after, effect)
                if found:
                    return found
        released = [one for one in effects if isinstance(one, SendRelease)]
        if released:
            return self._judge_release(before, after, released)
        if after.phase == "complete" and before.phase != "complete":
            return self._judge_complete(after)
        return None

    def judge_rounds_in(self, state: State) -> tuple[str, str] | None:
        """Return what is wrong about the rounds of opposite bolts in a state."""
        done = 0
        for lane in state.lanes:
            done |= lane.done
        return self.judge_rounds(done)

    def judge_rounds(self, done: int) -> tuple[str, str] | None:
        """Return what is wrong about the rounds of opposite bolts; `done` is a mask of nodes."""
        reached: dict[int, int] = {}
        for node, bolt, number in self._pulls:
            if done >> node & 1:
                reached[bolt] = max(reached.get(bolt, 0), number)
        for bolt, other in self._opposite:
            apart = abs(reached.get(bolt, 0) - reached.get(other, 0))
            if apart > 1:
                return "rounds_together", f"bolts {bolt} and {other} are {apart} rounds apart"
        return None

    def _judge_do(self, before: State, after: State, effect: SendDo) -> tuple[str, str] | None:
        if effect.move.action == "stand_by":
            return None
        name = self._plan.nodes[effect.node].name
        if effect.node in self._first and effect.barrier < 0:
            own = self._plan.nodes[effect.node].move
            if own == effect.move:
                return "no_lone_pull", f"{name} is sent without its partner"
        found = self._judge_motion(after, effect.node)
        if found:
            return found
        zone = effect.move.zone
        for party, lane in enumerate(after.lanes):
            if zone >= 0 and party != effect.party and self._works_in(lane) == zone:
                holder = self._plan.parties[party].name
                text = f"{name} enters {self._plan.zones[zone]}, where {holder} is at work"
                return "one_in_a_zone", text
        return None

    def _works_in(self, lane: Lane) -> int:
        if not lane.command or lane.node < 0 or lane.doing is Doing.STAND:
            return -1
        move = lane.queue[0] if lane.doing is Doing.MOVE else self._plan.nodes[lane.node].move
        return -1 if move is None else move.zone

    def _judge_motion(self, state: State, node: int) -> tuple[str, str] | None:
        excepted = {index for index, _ in self._plan.nodes[node].exceptions}
        for index, signal, is_trip in self._gates:
            bad = state.signals[signal].value is not True or (is_trip and state.tripped[index])
            if bad and index not in excepted:
                name = self._plan.interlocks[index].name
                return "no_motion_when_active", f"{self._plan.nodes[node].name} with {name} active"
        return None

    def _judge_release(
        self, before: State, after: State, released: list[SendRelease]
    ) -> tuple[str, str] | None:
        parties = tuple(sorted(one.party for one in released))
        if len({one.start_us for one in released}) != 1:
            return "together", "one release carries several start times"
        nodes = tuple(before.lanes[party].node for party in parties)
        for barrier in self._plan.barriers:
            if barrier.lanes == parties and barrier.nodes == nodes:
                for node in barrier.next_nodes:
                    found = self._judge_motion(after, node) if node >= 0 else None
                    if found:
                        return found
                return None
        names = ", ".join(self._plan.parties[party].name for party in parties)
        return "together", f"released: {names}, which are not all parties of one barrier"

    def _judge_complete(self, after: State) -> tuple[str, str] | None:
        for lane, nodes in zip(after.lanes, self._plan.lanes, strict=True):
            for node in nodes:
                if not lane.done >> node & 1:
                    name = self._plan.nodes[node].name
                    return "nothing_left_out", f"complete without {name}"
        return None


def _opposite(plan: Plan) -> tuple[tuple[int, int], ...]:
    """Return the bolts that are pulled together somewhere, each pair once."""
    pairs: dict[tuple[int, int], None] = {}
    for span in plan.spans:
        records = [plan.nodes[node].record for own in span.nodes for node in own]
        bolts = sorted({one.bolt for one in records if one is not None and one.kind == "pull"})
        pairs.update(dict.fromkeys(combinations(bolts, 2)))
    return tuple(pairs)
