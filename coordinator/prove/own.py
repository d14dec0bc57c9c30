"""Judge what an author wants proved: never, always before, at most, over steps, signals and zones.

What has happened is remembered beside the state of the core, one number for each property; so it
is part of what makes two states alike. What a move is to the properties is part of what makes two
places alike.

Invariants: PV18, a step that a property speaks of touches more than itself: it is followed in every
combination with what the other lanes do; PV19, a signal that a property speaks of may turn bad at
any time, whether or not an interlock watches it; PV20, no author's property is judged once the
procedure ends.
"""

from collections.abc import Sequence
from dataclasses import replace

from coordinator.core.effects import Effect, SendDo, SendRelease
from coordinator.core.plan import Move, Plan
from coordinator.core.state import (
    AT_WORK,
    Doing,
    Lane,
    State,
)
from coordinator.sequence.compiler.happenings_said import say_happening
from coordinator.sequence.compiler.own_properties import (
    Happening,
    HappeningKind,
    OwnProperty,
    PropertyKind,
    moves_of,
)

Memory = tuple[int, ...]
"""For each property whether `first` has happened, or how often what is counted has."""
Marks = tuple[bool, ...]
ENDED = ("stopping", "stopped", "aborting", "aborted")
_OF_STEPS = (HappeningKind.BEGINS, HappeningKind.ENDS, HappeningKind.UNDER_WAY)
Begun = tuple[tuple[int, int, Move], ...]
"""(lane, node, move) of everything that begins."""


class Own:
    """The own properties of one plan's author."""

    def __init__(self, plan: Plan, properties: tuple[OwnProperty, ...] = ()) -> None:
        """Look up what the properties speak of."""
        self.plan = plan
        self.properties = properties
        all_of_them = [one for own in properties for one in own.happenings]
        self._of_steps = tuple(dict.fromkeys(one for one in all_of_them if one.kind in _OF_STEPS))
        self.signals = tuple(sorted({one.signal for one in all_of_them if one.signal >= 0}))
        self.start: Memory = (0,) * len(properties)
        self.visible = frozenset(
            index
            for index, node in enumerate(plan.nodes)
            if any(any(self.marks(node.lane, move)) for move in moves_of(node))
        )
        """Steps that some property speaks of."""
        rechecks = [move for one in plan.interlocks for move in one.rechecks]
        self.sees_rechecks = any(
            any(self.marks(lane, move)) for move in rechecks for lane in range(len(plan.parties))
        )

    def marks(self, lane: int, move: Move) -> Marks:
        """Return which of the happenings a move of a lane is."""
        return tuple(one.matches(lane, move) for one in self._of_steps)

    def follow(
        self, memory: Memory, before: State, after: State, effects: Sequence[Effect]
    ) -> tuple[Memory, list[tuple[str, str]]]:
        """Judge one decision.

        Args:
            memory: Of what has happened until then.
            before: The state that was decided in.
            after: The state that the decision led to.
            effects: What left the core.

        Returns:
            The memory afterwards, and (property, text) of each that is broken.
        """
        if not self.properties:
            return memory, []
        if after.phase in ENDED:
            return self.start, []  # Nothing more is judged: then memory makes no difference.
        begun = self._begun(before, effects)
        kept, broken = [], []
        for own, known in zip(self.properties, memory, strict=True):
            value, text = self._judge(own, known, _Moment(self.plan, before, after, begun))
            kept.append(value)
            if text:
                broken.append((name_of(own), text))
        return tuple(kept), broken

    def _judge(self, own: OwnProperty, known: int, moment: "_Moment") -> tuple[int, str]:
        first = own.happenings[0]
        match own.kind:
            case PropertyKind.NEVER:
                happens = all(moment.is_so(one) for one in own.happenings)
                said = ", and ".join(moment.say(one) for one in own.happenings) if happens else ""
                return 0, f"it is so: {said}" if happens else ""
            case PropertyKind.ALWAYS_BEFORE:
                then = own.happenings[1]
                has_been = bool(known) or moment.is_so(first)
                is_earlier = bool(known) or (has_been and _leads_to(first, then))
                if moment.becomes(then) and not is_earlier:
                    missing = say_happening(self.plan, first)
                    return int(has_been), f"{moment.say(then)}, and not before: {missing}"
                return int(has_been), ""
            case PropertyKind.AT_MOST:
                count = min(known + moment.count(first), own.times + 1)
                is_more = count > own.times and count > known
                return count, f"{moment.say(first)}: by now {count} times" if is_more else ""

    def doers(
        self, name: str, before: State, after: State, effects: Sequence[Effect]
    ) -> tuple[tuple[int, int, str], ...]:
        """Return (lane, node, words) of all that a property speaks of and a decision brings."""
        moment = _Moment(self.plan, before, after, self._begun(before, effects))
        found: list[tuple[int, int, str]] = []
        for own in self.properties:
            if name_of(own) == name:
                is_late = own.kind is PropertyKind.ALWAYS_BEFORE
                for one in own.happenings[1:] if is_late else own.happenings:
                    words = moment.words(one)
                    found += [(lane, node, words) for lane, node in moment.doers(one)]
        return tuple(dict.fromkeys(found))

    def _begun(self, before: State, effects: Sequence[Effect]) -> Begun:
        """Return everything that begins by a decision."""
        found = []
        for effect in effects:
            if isinstance(effect, SendDo) and effect.barrier < 0:
                found.append((effect.party, effect.node, effect.move))
            elif isinstance(effect, SendRelease):
                at = self.plan.nodes[before.lanes[effect.party].node].barrier
                barrier = self.plan.barriers[at]
                node = barrier.next_nodes[barrier.lanes.index(effect.party)]
                move = self.plan.nodes[node].move if node >= 0 else None
                if move is not None:
                    found.append((effect.party, node, move))
        return tuple(found)


class _Moment:
    """One decision: what was, what is, what began."""

    def __init__(self, plan: Plan, before: State, after: State, begun: Begun) -> None:
        self._plan = plan
        self._before = before
        self._after = after
        self._begun = begun

    def is_so(self, one: Happening) -> bool:
        """Tell whether it happens by the decision, or is so after it."""
        if one.kind in (HappeningKind.BEGINS, HappeningKind.ENDS):
            return self.count(one) > 0
        return self._holds(one, self._after)

    def becomes(self, one: Happening) -> bool:
        """Tell whether it happens by the decision."""
        return self.count(one) > 0

    def count(self, one: Happening) -> int:
        """Return how often it happens by the decision."""
        if one.kind in (HappeningKind.BEGINS, HappeningKind.ENDS):
            return len(self.doers(one))
        return int(self._holds(one, self._after) and not self._holds(one, self._before))

    def doers(self, one: Happening) -> list[tuple[int, int]]:
        """Return (lane, node) of all that do it by the decision, or are at it; none of a signal."""
        if one.kind is HappeningKind.SIGNAL:
            return []
        if one.kind is HappeningKind.BEGINS:
            return [(lane, node) for lane, node, move in self._begun if one.matches(lane, move)]
        if one.kind is HappeningKind.ENDS:
            lanes = range(len(self._after.lanes))
            return [(lane, node) for lane in lanes for node in self._ended(one, lane)]
        return self._at(one, self._after)

    def say(self, one: Happening) -> str:
        """Say what happens and who does it."""
        lanes = dict.fromkeys(lane for lane, _ in self.doers(one))
        said = [say_happening(self._plan, replace(one, lane=lane)) for lane in lanes]
        return " and ".join(said) or say_happening(self._plan, one)

    def words(self, one: Happening) -> str:
        """Say what happens, whoever does it."""
        if one.kind is HappeningKind.ZONE:
            return f"is at work in {self._plan.zones[one.zone]}"
        what = "is under way with" if one.kind is HappeningKind.UNDER_WAY else one.kind.value
        return f"{what} {one.action}"

    def _ended(self, one: Happening, lane: int) -> list[int]:
        fresh = self._after.lanes[lane].done & ~self._before.lanes[lane].done
        return [
            node
            for node in self._plan.lanes[lane]
            if fresh >> node & 1
            and (move := self._plan.nodes[node].move) is not None
            and one.matches(lane, move)
        ]

    def _holds(self, one: Happening, state: State) -> bool:
        if one.kind is HappeningKind.SIGNAL:
            return (state.signals[one.signal].value is True) is one.is_good
        return bool(self._at(one, state))

    def _at(self, one: Happening, state: State) -> list[tuple[int, int]]:
        """Return (lane, node) of all that are at work at it, or in its zone."""
        found = []
        for number, lane in enumerate(state.lanes):
            move = self._at_work(lane)
            if move is None:
                continue
            if one.kind is HappeningKind.ZONE:
                is_at = move.zone == one.zone and one.lane in (-1, number)
            else:
                is_at = one.matches(number, move)
            if is_at:
                found.append((number, lane.node))
        return found

    def _at_work(self, lane: Lane) -> Move | None:
        """Return the move that a lane has begun and not ended."""
        if not lane.command or lane.node < 0 or lane.phase not in AT_WORK:
            return None
        if lane.doing is Doing.STAND:
            return None
        return lane.queue[0] if lane.doing is Doing.MOVE else self._plan.nodes[lane.node].move


def _leads_to(first: Happening, then: Happening) -> bool:
    """Tell whether, of two things by one decision, the first came before the other.

    What a step ended with, or how a signal turned, is what the core decides on; what begins is what
    it decides.
    """
    begins = (HappeningKind.BEGINS, HappeningKind.UNDER_WAY, HappeningKind.ZONE)
    return first.kind in (HappeningKind.ENDS, HappeningKind.SIGNAL) and then.kind in begins


def name_of(own: OwnProperty) -> str:
    """Return how a property is called beside those that every sequence is held to."""
    return f"properties.{own.name}"
