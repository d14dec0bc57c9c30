"""Decide every step from every state, once for all places that behave alike.

Invariants: PV7, every transition is decided by `decide` on a whole state; the graph only remembers;
PV8, what is wrong is kept with the state and the step that led to it; PV17, what must follow is
taken in one step, and every decision of it is judged.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from coordinator.core.decide import decide
from coordinator.core.effects import Effect, RaisePrompt, SendDo
from coordinator.core.plan import Exhausted, Plan
from coordinator.core.recovery import must_ask, rule_for
from coordinator.core.state import (
    ENDED,
    Doing,
    Phase,
    State,
    StepPhase,
    Then,
)
from coordinator.core.turn import InvariantViolation, Turn
from coordinator.lifecycles import LifecycleError
from coordinator.prove.canonical import ENDING, NOW_US, Folder
from coordinator.prove.local import Local, ProofError
from coordinator.prove.monitors import Judge
from coordinator.prove.moves import Moves, Node, Step
from coordinator.prove.own import Memory, Own
from coordinator.prove.parts import Look
from coordinator.prove.pieces import Pieces, Place, Places, look_of
from coordinator.prove.store import (
    Break,
    Exit,
    Graph,
    Notes,
    Store,
    Way,
    Word,
    Words,
)

CORE_ERRORS = (InvariantViolation, LifecycleError, ValueError, IndexError, KeyError)
"""By which the core shows that it is broken."""
_FORCED_MAX = 12
"""Steps taken in one; more than all parties ever need to come to rest or get ready."""
_GONE_MAX = 3
"""Pieces that a lane can go on by in one step; further is elsewhere."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What the walk may spend, and what it may leave out."""

    causes: int = 2
    states_max: int = 20_000_000
    is_modular: bool = True
    """Leave out combinations of inner steps of lanes that touch only themselves (`moves.py`)."""
    is_cut: bool = True
    """Decide once what can happen at places that behave alike (`pieces.py`)."""


class Stores:
    """What has been decided about plans of any cells."""

    def __init__(self) -> None:
        self._known: dict[object, Store] = {}

    def of(self, own: Own, limits: Limits) -> Store:
        """Return what has been decided about plans that have all but nodes and barriers alike."""
        plan = own.plan
        cell = (
            tuple(party.is_arm for party in plan.parties),
            plan.timing,
            tuple(
                (one.signal, one.kind, tuple(look_of(move) for move in one.rechecks))
                for one in plan.interlocks
            ),
            plan.signals,
            len(plan.zones),
            tuple(tuple(option for option, _ in prompt.options) for prompt in plan.prompts),
        )
        return self._known.setdefault((cell, limits, own.properties), Store())


def phase_of(plan: Plan, state: State) -> str:
    """Return the phase of a state; once it can only be aborted, it is on its way there.

    So it is where lanes leave in order, and where a rule says so and the partner has yet to stand.
    """
    is_over = any(lane.then is Then.ABORT for lane in state.lanes) or any(
        lane.phase is StepPhase.FAULTED and _is_aborted(Turn(plan, state, NOW_US), place)
        for place, lane in enumerate(state.lanes)
    )
    return Phase.ABORTING if is_over and state.phase not in ENDED else state.phase


def _is_aborted(turn: Turn, place: int) -> bool:
    at_hand = turn.lane(place)
    rule = rule_for(turn, at_hand.node, at_hand.at.fault)
    return must_ask(turn, place) and not at_hand.unknown and rule.then is Exhausted.ABORT


def _has_done(before: State, after: State) -> bool:
    """Tell whether any lane has done something, or is to do something again."""
    return [lane.done for lane in before.lanes] != [lane.done for lane in after.lanes]


@dataclass(slots=True)
class _Seen:
    """What is seen while the steps from a state are decided."""

    sent: set[tuple[int, int]] = field(default_factory=set)
    done: set[tuple[int, ...]] = field(default_factory=set)
    asked: set[int] = field(default_factory=set)

    def notes(self) -> Notes:
        return Notes(frozenset(self.sent), frozenset(self.done), frozenset(self.asked))


class Expander:
    """Decides the steps from states of one plan."""

    def __init__(self, own: Own, limits: Limits, store: Store, *, is_orderly: bool) -> None:
        """Prepare; without `is_orderly` anything may be done again, and nothing is cut."""
        self.plan = plan = own.plan
        self.own = own
        self.pieces = Pieces(plan, store.kinds, is_cut=limits.is_cut and is_orderly, own=own)
        self.local = Local(plan, self.pieces, store.parts)
        self.folder = Folder(plan, Pieces(plan, {}, is_cut=is_orderly))
        self.transitions = 0
        self.states = 0
        self.ending = 0
        self._store = store
        self._limits = limits
        self._moves = Moves(plan, is_modular=limits.is_modular, own=own)
        self._judge = Judge(plan)

    def graph(self, places: Places) -> Graph:
        """Return the graph of places that behave like these."""
        return self._store.graph(self.pieces.kind_of(places))

    def number(self, places: Places, look: Look, node: Callable[[], Node]) -> int:
        """Return the number of a state in its graph; a new one is taken in."""
        graph = self.graph(places)
        known = graph.numbers.get(look)
        if known is None:
            real = node()
            known = graph.take_in(look, phase_of(self.plan, real.state))
            graph.waiting[known] = self, places, real
            self.states += 1
            self.ending += graph.phases[known] in ENDING
        return known

    def edges_of(self, graph: Graph, number: int) -> Iterator[tuple[int, Way]]:
        """Return the steps that stay at the places; decides them if that has not been done."""
        if not graph.is_decided(number):
            owner, places, node = graph.waiting[number]
            owner.expand(graph, number, places, node)
        return graph.edges(number)

    def expand(self, graph: Graph, number: int, places: Places, node: Node) -> None:
        """Decide the steps from a state."""
        is_free = False
        edges: list[tuple[int, Way]] = []
        exits: list[tuple[int, Way]] = []
        seen = _Seen()
        for step in self._moves.after(node, self._limits.causes):
            is_free = is_free or step.cost == 0
            taken = self._take_all(graph, (number, places), node, step, seen)
            if taken is None:
                continue
            after, there, steps, words = taken
            way = Way(words, step.cost == 0, step.person)
            look = self.local.look(after, there)
            if there == places:
                target = self.number(there, look, lambda after=after: after)  # type: ignore[misc]  # bound
                edges.append((target, way))
                continue
            shift = self._shift(places, there)
            kept, at = (node, places) if shift is None else (after, there)
            key = (number, len(exits)) if shift is None else (shift, look)
            gone = graph.exit_to(key, Exit(self, shift, look, kept, at, steps))
            exits.append((gone, way))
        if not is_free and node.state.phase not in ENDED:
            self._break(graph, number, "no_deadlock", "nothing can happen any more", ())
        graph.put(number, edges, exits, seen.notes())

    def _take_all(
        self, graph: Graph, at: tuple[int, Places], node: Node, step: Step, seen: "_Seen"
    ) -> tuple[Node, Places, tuple[Step, ...], Words] | None:
        """Decide a step and all that alone can follow it; None where the core itself broke.

        Returns:
            The state after it, its places, the steps, and the same in words.
        """
        steps: tuple[Step, ...] = ()
        words: Words = ()
        following: Step | None = step
        places, before = at[1], node.state
        while following is not None:
            steps = (*steps, following)
            words = (*words, self._word(node, following, places))
            after = self._take(graph, at, (node, following, words), seen)
            if after is None:
                return None
            is_over = after.causes < self._limits.causes or len(steps) > _FORCED_MAX
            is_over = is_over or after.state.phase in ENDING or _has_done(node.state, after.state)
            node, following = after, None if is_over else self._moves.forced(after)
        node = self._fold(node, before)
        if _has_done(before, node.state):
            seen.done.add(self._done(places, node.state))
        return node, self.local.places_of(node.state, places), steps, words

    def _fold(self, node: Node, before: State) -> Node:
        is_spent = self._limits.is_modular and node.causes >= self._limits.causes
        is_over = is_spent and not any(node.silent)
        state = self.folder.fold(node.state, before, is_spent=is_over)
        return Node(state, node.silent, node.causes, node.memory)

    def _shift(self, places: Places, there: Places) -> tuple[int, ...] | None:
        """Return how many pieces each lane has gone on, or None where it is elsewhere."""
        shift = []
        for lane, (before, after) in enumerate(zip(places, there, strict=True)):
            at, gone = before, 0
            while at != after and gone < _GONE_MAX:
                at, gone = self.pieces.after(lane, at), gone + 1
            if at != after:
                return None
            shift.append(gone)
        return tuple(shift)

    def lead(self, gone: Exit, places: Places) -> tuple[Places, int]:
        """Return where an exit leads from places like those that it was found at.

        Returns:
            The places it leads to, and the number of the state in their graph.
        """
        if gone.shift is not None:
            there = tuple(
                self._gone_on(lane, place, count)
                for lane, (place, count) in enumerate(zip(places, gone.shift, strict=True))
            )
            local = gone.owner.local
            if self.pieces.kind_of(there) == gone.owner.pieces.kind_of(gone.places):
                return there, self.number(
                    there, gone.look, lambda: self.local.move(gone.node, local, gone.places, there)
                )
            # More is in sight there than where it was found: the same state, seen otherwise.
            moved = self.local.move(gone.node, local, gone.places, there, is_alike=False)
            return there, self.number(there, self.local.look(moved, there), lambda: moved)
        # Where it leads follows from the whole plan: it is decided here.
        after = before = self.local.move(gone.node, gone.owner.local, gone.places, places)
        for step in gone.steps:
            if step.state is not None and places != gone.places:
                raise ProofError("a deadline leads elsewhere")
            after = self._decide(after, step)
        after = self._fold(after, before.state)
        there = self.local.places_of(after.state, places)
        return there, self.number(there, self.local.look(after, there), lambda: after)

    def _decide(self, node: Node, step: Step) -> Node:
        """Return the state after a step that has been judged elsewhere, not folded."""
        self.transitions += 1
        state, memory = step.begins_in(node), node.memory
        for event in step.events:
            earlier = state
            state, effects = decide(self.plan, state, event)
            memory, _ = self.own.follow(memory, earlier, state, effects)
        return node.after(step, state, memory)

    def _gone_on(self, lane: int, place: Place, count: int) -> Place:
        for _ in range(count):
            place = self.pieces.after(lane, place)
        return place

    def _take(
        self, graph: Graph, at: tuple[int, Places], taken: tuple[Node, Step, Words], seen: "_Seen"
    ) -> Node | None:
        """Return the state after a step, not folded; None where the core itself broke."""
        number, places = at
        node, step, words = taken
        self.transitions += 1
        state = before = step.begins_in(node)
        memory = node.memory
        for event in step.events:
            earlier = state
            try:
                state, effects = decide(self.plan, state, event)
            except CORE_ERRORS as error:
                text = f"{type(error).__name__}: {error}"
                self._break(graph, number, "core_sound", text, words)
                return None
            self._note(seen, places, effects)
            memory = self._follow(graph, number, memory, (earlier, state, effects), words)
            broken = self._judge.judge(earlier, state, effects)
            if broken:
                self._break(graph, number, *broken, words)
        if _has_done(before, state):
            seen.done.add(self._done(places, state))
        return node.after(step, state, memory)

    def _done(self, places: Places, state: State) -> tuple[int, ...]:
        return tuple(
            self.pieces.own(lane, place, one.done)
            for lane, (place, one) in enumerate(zip(places, state.lanes, strict=True))
        )

    def _follow(
        self,
        graph: Graph,
        number: int,
        memory: Memory,
        decision: tuple[State, State, tuple[Effect, ...]],
        words: Words,
    ) -> Memory:
        """Judge a decision by the author's own properties."""
        kept, broken = self.own.follow(memory, *decision)
        for name, text in broken:
            self._break(graph, number, name, text, words)
        return kept

    def _note(self, seen: "_Seen", places: Places, effects: tuple[Effect, ...]) -> None:
        for effect in effects:
            if isinstance(effect, SendDo):
                lane = effect.party
                step = self.pieces.number(lane, places[lane], effect.node)
                if step is not None:
                    seen.sent.add((lane, step))
            elif isinstance(effect, RaisePrompt):
                seen.asked.add(effect.prompt)

    def _word(self, node: Node, step: Step, places: Places) -> Word:
        is_cause = step.cost > 0
        if step.lane < 0:
            return Word(-1, step.words, None, "", is_cause)
        lane = node.state.lanes[step.lane]
        if lane.node < 0:
            return Word(step.lane, step.words, None, "", is_cause)
        at = self.pieces.number(step.lane, places[step.lane], lane.node)
        move = lane.queue[0].action if lane.doing is Doing.MOVE else ""
        return Word(step.lane, step.words, at, move, is_cause)

    @staticmethod
    def _break(graph: Graph, number: int, name: str, text: str, words: Words) -> None:
        graph.breaks.setdefault(number, []).append(Break(name, text, words))
