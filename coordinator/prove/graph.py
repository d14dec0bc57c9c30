"""Decide every step from every state, once for all places that behave alike.

Keeps: G1, every transition is decided by `decide` on a whole state; the graph only remembers what
came of it; G2, what is wrong is kept with the state and the step that led to it.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple

from coordinator.core.decide import decide
from coordinator.core.effects import Effect, RaisePrompt, SendDo
from coordinator.core.plan import Exhausted, Plan
from coordinator.core.recovery import must_ask, rule_for
from coordinator.core.state import State
from coordinator.core.turn import InvariantViolation, Turn
from coordinator.lifecycles import LifecycleError
from coordinator.prove.canonical import NOW_US, Folder
from coordinator.prove.local import Local, Look
from coordinator.prove.monitors import Judge
from coordinator.prove.moves import ENDED, Moves, Node, Step
from coordinator.prove.own import Memory, Own
from coordinator.prove.pieces import Pieces, Place, Places, look_of

_GONE_MAX = 3
"""Pieces that a lane can go on by in one step; further is elsewhere."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What the walk may spend, and what it may leave out."""

    causes: int = 2
    states_max: int = 2_000_000
    is_modular: bool = True
    """Leave out combinations of inner steps of lanes that touch only themselves (`moves.py`)."""
    is_cut: bool = True
    """Decide once what can happen at places that behave alike (`pieces.py`)."""


class Word(NamedTuple):
    """One thing that happened, told apart from the place where it did."""

    lane: int
    text: str
    node: int | None
    """The step at hand, counted from the first of its piece; None where there is none."""
    move: str
    """The action at hand while recovering."""
    is_cause: bool = False
    """Something went wrong by it."""


Words = tuple[Word, ...]


class Edge(NamedTuple):
    target: int
    words: Words
    is_free: bool
    by_person: bool
    """A person ends the procedure by it."""


class Exit(NamedTuple):
    """A step that leads to other places."""

    owner: "Expander"
    """Whose plan `node` and `places` are of."""
    shift: tuple[int, ...] | None
    """How many pieces each lane has gone on; None where it goes anywhere else."""
    look: Look
    node: Node
    """The state that it leads to; where it may lead anywhere the state that it leads from."""
    places: Places
    """Where `node` stands."""
    step: Step
    words: Words
    is_free: bool
    by_person: bool


@dataclass(frozen=True, slots=True)
class Break:
    """A property that a step from a state breaks."""

    property: str
    text: str
    words: Words


@dataclass(slots=True)
class Graph:
    """All states seen at places of one kind."""

    numbers: dict[Look, int] = field(default_factory=dict)
    nodes: list[tuple["Expander", Places, Node] | None] = field(default_factory=list)
    """Whose plan, where in it, and the state; forgotten once all steps from it are decided."""
    phases: list[str] = field(default_factory=list)
    causes: list[int] = field(default_factory=list)
    edges: list[list[Edge] | None] = field(default_factory=list)
    exits: dict[int, list[Exit]] = field(default_factory=dict)
    breaks: dict[int, list[Break]] = field(default_factory=dict)
    sent: dict[int, set[tuple[int, int]]] = field(default_factory=dict)
    """(lane, step counted from the first of its piece) sent by steps from a state."""
    done: dict[int, set[tuple[int, ...]]] = field(default_factory=dict)
    """For each lane what is done of its piece, after steps that finish something."""
    asked: dict[int, set[int]] = field(default_factory=dict)
    """Kinds of prompt raised by steps from a state."""


@dataclass(slots=True)
class Store:
    """What has been decided about plans of one cell; what is alike in several is decided once."""

    kinds: dict[object, int] = field(default_factory=dict)
    graphs: dict[int, Graph] = field(default_factory=dict)


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
    is_over = any(lane.then == "abort" for lane in state.lanes) or any(
        lane.phase == "faulted" and _is_aborted(Turn(plan, state, NOW_US), place)
        for place, lane in enumerate(state.lanes)
    )
    return "aborting" if is_over and state.phase not in ENDED else state.phase


def _is_aborted(turn: Turn, place: int) -> bool:
    at_hand = turn.lane(place)
    rule = rule_for(turn, at_hand.node, at_hand.fault)
    return must_ask(turn, place) and not at_hand.unknown and rule.then is Exhausted.ABORT


class Expander:
    """Decides the steps from states of one plan."""

    def __init__(self, own: Own, limits: Limits, store: Store, *, is_orderly: bool) -> None:
        """Prepare; without `is_orderly` anything may be done again, and nothing is cut."""
        self.plan = plan = own.plan
        self.own = own
        self.pieces = Pieces(plan, store.kinds, is_cut=limits.is_cut and is_orderly, own=own)
        self.local = Local(plan, self.pieces)
        self.folder = Folder(plan, Pieces(plan, {}, is_cut=is_orderly))
        self.transitions = 0
        self.states = 0
        self._graphs = store.graphs
        self._limits = limits
        self._moves = Moves(plan, is_modular=limits.is_modular, own=own)
        self._judge = Judge(plan)

    def graph(self, places: Places) -> Graph:
        """Return the graph of places that behave like these."""
        return self._graphs.setdefault(self.pieces.kind_of(places), Graph())

    def number(self, places: Places, look: Look, node: Callable[[], Node]) -> int:
        """Return the number of a state in its graph; a new one is taken in."""
        graph = self.graph(places)
        known = graph.numbers.get(look)
        if known is None:
            known = graph.numbers[look] = len(graph.nodes)
            real = node()
            graph.nodes.append((self, places, real))
            graph.phases.append(phase_of(self.plan, real.state))
            graph.causes.append(real.causes)
            graph.edges.append(None)
            self.states += 1
        return known

    def edges_of(self, graph: Graph, number: int) -> list[Edge]:
        """Return the steps that stay at the places; decides them if that has not been done."""
        known = graph.edges[number]
        if known is None:
            known = graph.edges[number] = []
            kept = graph.nodes[number]
            assert kept is not None, "a state is forgotten only after its steps are decided"
            owner, places, node = kept
            owner._expand(graph, number, places, node, known)
            graph.nodes[number] = None
        return known

    def _expand(
        self, graph: Graph, number: int, places: Places, node: Node, edges: list[Edge]
    ) -> None:
        is_free = False
        for step in self._moves.after(node, self._limits.causes):
            is_free = is_free or step.cost == 0
            words: Words = (self._word(node, step, places),)
            after = self._take(graph, (number, places), node, step, words)
            if after is None:
                continue
            there = self.local.places_of(after.state, places)
            look = self.local.look(after, there)
            free = step.cost == 0
            if there == places:
                target = self.number(there, look, lambda after=after: after)  # type: ignore[misc]
                edges.append(Edge(target, words, free, step.person))
            else:
                shift = self._shift(places, there)
                kept, at = (node, places) if shift is None else (after, there)
                gone = Exit(self, shift, look, kept, at, step, words, free, step.person)
                graph.exits.setdefault(number, []).append(gone)
        if not is_free and node.state.phase not in ENDED:
            self._break(graph, number, "no_deadlock", "nothing can happen any more", ())

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
        before = self.local.move(gone.node, gone.owner.local, gone.places, places)
        state = before.state if gone.step.state is None else gone.step.state
        memory = before.memory
        for event in gone.step.events:
            earlier = state
            state, effects = decide(self.plan, state, event)
            memory, _ = self.own.follow(memory, earlier, state, effects)
        self.transitions += 1
        causes = before.causes + gone.step.cost
        after = Node(self.folder.fold(state), before.silent, causes, memory)
        there = self.local.places_of(after.state, places)
        return there, self.number(there, self.local.look(after, there), lambda: after)

    def _gone_on(self, lane: int, place: Place, count: int) -> Place:
        for _ in range(count):
            place = self.pieces.after(lane, place)
        return place

    def _take(
        self, graph: Graph, at: tuple[int, Places], node: Node, step: Step, words: Words
    ) -> Node | None:
        """Decide a step's events; None where the core itself broke."""
        number, places = at
        self.transitions += 1
        state = before = node.state if step.state is None else step.state
        memory = node.memory
        for event in step.events:
            earlier = state
            try:
                state, effects = decide(self.plan, state, event)
            except (InvariantViolation, LifecycleError, ValueError, IndexError, KeyError) as error:
                text = f"{type(error).__name__}: {error}"
                self._break(graph, number, "core_sound", text, words)
                return None
            self._note(graph, at, effects)
            memory = self._follow(graph, number, memory, (earlier, state, effects), words)
            broken = self._judge.judge(earlier, state, effects)
            if broken:
                self._break(graph, number, *broken, words)
        if any(a.done != b.done for a, b in zip(before.lanes, state.lanes, strict=True)):
            done = tuple(
                self.pieces.own(lane, place, one.done)
                for lane, (place, one) in enumerate(zip(places, state.lanes, strict=True))
            )
            graph.done.setdefault(number, set()).add(done)
        silent = node.silent
        if step.silences:
            silent = (*silent[: step.lane], step.silences > 0, *silent[step.lane + 1 :])
        return Node(self.folder.fold(state, before), silent, node.causes + step.cost, memory)

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

    def _note(self, graph: Graph, at: tuple[int, Places], effects: tuple[Effect, ...]) -> None:
        number, places = at
        for effect in effects:
            if isinstance(effect, SendDo):
                lane = effect.party
                step = self.pieces.number(lane, places[lane], effect.node)
                if step is not None:
                    graph.sent.setdefault(number, set()).add((lane, step))
            elif isinstance(effect, RaisePrompt):
                graph.asked.setdefault(number, set()).add(effect.prompt)

    def _word(self, node: Node, step: Step, places: Places) -> Word:
        is_cause = step.cost > 0
        if step.lane < 0:
            return Word(-1, step.words, None, "", is_cause)
        lane = node.state.lanes[step.lane]
        if lane.node < 0:
            return Word(step.lane, step.words, None, "", is_cause)
        at = self.pieces.number(step.lane, places[step.lane], lane.node)
        is_moving = lane.command and lane.queue and lane.doing.value == "move"
        move = lane.queue[0].action if is_moving else ""
        return Word(step.lane, step.words, at, move, is_cause)

    @staticmethod
    def _break(graph: Graph, number: int, name: str, text: str, words: Words) -> None:
        graph.breaks.setdefault(number, []).append(Break(name, text, words))
