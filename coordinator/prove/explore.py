"""Walk through every state that a plan can reach, breadth first, and judge each decision.

Keeps: E1, a bound that cuts the walk is told and never ends in good; E2, a counterexample is the
shortest there is, since the walk is breadth first.
Source: breadth-first search with parent links; Clarke, Grumberg, Peled, Model Checking, 1999.
"""

from array import array
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

from coordinator.core.decide import begin, decide
from coordinator.core.effects import Effect, RaisePrompt, SendDo
from coordinator.core.plan import Plan
from coordinator.core.turn import InvariantViolation
from coordinator.lifecycles import LifecycleError
from coordinator.prove.canonical import Folder
from coordinator.prove.monitors import Judge, Violation
from coordinator.prove.moves import ENDED, Moves, Node, Step

Progress = Callable[[int, int], None]
_TOLD_EVERY = 2_000
_CHAIN_MAX = 200
"""Steps without a choice that are followed at once; a longer chain is kept in pieces."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What the walk may spend."""

    causes: int = 2
    states_max: int = 2_000_000
    is_modular: bool = True
    """Leave out combinations of inner steps of lanes that touch only themselves (`moves.py`)."""


@dataclass(slots=True)
class Exploration:
    """What the walk found."""

    causes: int
    states: int = 0
    transitions: int = 0
    depth: int = 0
    is_complete: bool = False
    """False when a bound cut the walk."""
    violations: list[Violation] = field(default_factory=list)
    sent: set[int] = field(default_factory=set)
    """Steps that were ever sent."""
    asked: set[int] = field(default_factory=set)
    """Kinds of prompt that were ever raised."""

    @property
    def is_proved(self) -> bool:
        """Tell whether everything was seen and nothing was wrong."""
        return self.is_complete and not self.violations


def explore(
    plan: Plan, limits: Limits | None = None, progress: Progress | None = None
) -> Exploration:
    """Explore a plan.

    Args:
        plan: The plan; the same `decide` that runs it is walked.
        limits: How many causes, how many states.
        progress: Told of (states seen, states still to look at).

    Returns:
        Everything that was seen; at most one violation of each property, the shortest.
    """
    return _Walk(plan, limits or Limits(), progress).walk()


class _Walk:
    def __init__(self, plan: Plan, limits: Limits, progress: Progress | None) -> None:
        self._plan = plan
        self._limits = limits
        self._progress = progress
        self._moves = Moves(plan, is_modular=limits.is_modular)
        self._judge = Judge(plan)
        self._folder = Folder(plan)
        self._found = Exploration(limits.causes)
        self._numbers: dict[Node, int] = {}
        self._nodes: list[Node] = []
        self._parents: list[tuple[int, str]] = []
        self._depths = array("I")
        self._sources, self._targets = array("I"), array("I")
        self._ends = bytearray()
        """For each free edge: 1 where a person ends the procedure by it."""
        self._broken: set[str] = set()

    def walk(self) -> Exploration:
        """Walk, then look for ways out backwards."""
        state = begin(self._plan)
        for event in self._moves.begin_events():
            state, effects = decide(self._plan, state, event)
            self._note(effects)
        start = Node(self._folder.fold(state), (False,) * len(self._plan.parties), 0)
        self._number(start, -1, "")
        queue = deque([0])
        while queue:
            place = queue.popleft()
            if self._progress and place % _TOLD_EVERY == 0:
                self._progress(len(self._nodes), len(queue))
            self._expand(place, queue)
            if len(self._nodes) > self._limits.states_max:
                break
        self._found.is_complete = not queue
        self._found.states = len(self._nodes)
        self._found.depth = max(self._depths)
        if self._found.is_complete:
            self._look_for_ways_out()
        return self._found

    def _expand(self, place: int, queue: deque[int]) -> None:
        node = self._nodes[place]
        is_free = False
        for step in self._moves.after(node):
            if node.causes + step.cost > self._limits.causes:
                continue
            is_free = is_free or step.cost == 0
            self._found.transitions += 1
            after = self._take(place, node, step)
            if after is None:
                continue
            words = self._words(node, step)
            known = self._numbers.get(after)
            if known is None and after.causes == self._limits.causes:
                after, words = self._follow(place, after, words)
                known = self._numbers.get(after)
            if known is None:
                known = self._number(after, place, words)
                queue.append(known)
            if step.cost == 0:
                self._sources.append(place)
                self._targets.append(known)
                self._ends.append(1 if step.person else 0)
        if not is_free and node.state.phase not in ENDED:
            self._break("no_deadlock", "nothing can happen any more", place, "")

    def _follow(self, place: int, node: Node, words: str) -> tuple[Node, str]:
        """Go on while only one thing can happen: nothing is decided in between, so none is kept."""
        for _ in range(_CHAIN_MAX):
            if node in self._numbers or node.state.phase in ENDED:
                return node, words
            steps = [one for one in self._moves.after(node) if one.cost == 0]
            if len(steps) != 1 or steps[0].person:
                return node, words
            self._found.transitions += 1
            more = self._words(node, steps[0])
            after = self._take(place, node, steps[0], words)
            if after is None:
                return node, words
            node, words = after, f"{words}\n{more}"
        return node, words

    def _take(self, place: int, node: Node, step: Step, before_words: str = "") -> Node | None:
        """Decide a step's events; None where the core itself broke."""

        def words() -> str:
            return f"{before_words}\n{self._words(node, step)}".strip()

        state = before = node.state if step.state is None else step.state
        for event in step.events:
            earlier = state
            try:
                state, effects = decide(self._plan, state, event)
            except (InvariantViolation, LifecycleError, ValueError, IndexError, KeyError) as error:
                self._break("core_sound", f"{type(error).__name__}: {error}", place, words())
                return None
            self._note(effects)
            broken = self._judge.judge(earlier, state, effects)
            if broken:
                self._break(*broken, place, words())
        if any(a.done != b.done for a, b in zip(before.lanes, state.lanes, strict=True)):
            broken = self._judge.judge_rounds(state)
            if broken:
                self._break(*broken, place, words())
        silent = node.silent
        if step.silences:
            silent = (*silent[: step.lane], step.silences > 0, *silent[step.lane + 1 :])
        return Node(self._folder.fold(state), silent, node.causes + step.cost)

    def _note(self, effects: tuple[Effect, ...]) -> None:
        for effect in effects:
            if isinstance(effect, SendDo):
                self._found.sent.add(effect.node)
            elif isinstance(effect, RaisePrompt):
                self._found.asked.add(effect.prompt)

    def _number(self, node: Node, parent: int, words: str) -> int:
        number = len(self._nodes)
        self._numbers[node] = number
        self._nodes.append(node)
        self._parents.append((parent, words))
        self._depths.append(0 if parent < 0 else self._depths[parent] + 1)
        return number

    def _words(self, node: Node, step: Step) -> str:
        if step.lane < 0:
            return step.words
        lane = node.state.lanes[step.lane]
        words = f"{self._plan.parties[step.lane].name} {step.words}"
        if lane.node < 0:
            return words
        at = self._plan.nodes[lane.node]
        what = at.name
        if lane.command and lane.queue and lane.doing.value == "move":
            what = f"{lane.queue[0].action}, recovering {at.name}"
        place = f" ({at.origin.file}:{at.origin.line})" if at.origin.file else ""
        return f"{words}: {what}{place}"

    def _break(self, name: str, text: str, place: int, words: str) -> None:
        if name in self._broken:
            return
        self._broken.add(name)
        path = [words] if words else []
        causes = self._nodes[place].causes
        while place >= 0:
            place, before = self._parents[place]
            if before:
                path.append(before)
        lines = tuple(line for part in reversed(path) for line in part.splitlines())
        self._found.violations.append(Violation(name, text, lines, causes))

    def _look_for_ways_out(self) -> None:
        phases = [node.state.phase for node in self._nodes]
        complete = self._backwards({i for i, p in enumerate(phases) if p == "complete"}, ends=False)
        ended = self._backwards({i for i, p in enumerate(phases) if p in ENDED}, ends=True)
        for place, phase in enumerate(phases):
            if phase not in (*ENDED, "stopping", "aborting") and not complete[place]:
                self._break("way_to_complete", f"from {phase} nothing leads to complete", place, "")
                break
        for place, phase in enumerate(phases):
            if phase not in ENDED and not ended[place]:
                self._break("way_to_end", f"from {phase} nothing leads to an end", place, "")
                break

    def _backwards(self, goals: set[int], *, ends: bool) -> bytearray:
        """Mark every state from which a goal can be reached by free edges."""
        into: list[array[int]] = [array("I") for _ in self._nodes]
        for source, target, person in zip(self._sources, self._targets, self._ends, strict=True):
            if ends or not person:
                into[target].append(source)
        marked = bytearray(len(self._nodes))
        waiting = sorted(goals)
        for goal in waiting:
            marked[goal] = 1
        while waiting:
            for source in into[waiting.pop()]:
                if not marked[source]:
                    marked[source] = 1
                    waiting.append(source)
        return marked


def unreached(plan: Plan, found: Exploration) -> tuple[str, ...]:
    """Name the steps and prompts that no interleaving reaches."""
    steps = [
        node.name
        for index, node in enumerate(plan.nodes)
        if node.move is not None and index not in found.sent
    ]
    prompts = [one.name for index, one in enumerate(plan.prompts) if index not in found.asked]
    return (*(f"step {name}" for name in steps), *(f"prompt {name}" for name in prompts))
