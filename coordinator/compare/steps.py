"""Read the steps of a plan as facts that can be laid beside those of another plan.

What a plan numbers is named here, so that the order in which a file declares things means nothing.

Units: as in the plan.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from coordinator.compare.words import quantity
from coordinator.core.plan import Move, Node, NodeKind, Rule
from coordinator.draw.words import place_words, plain
from coordinator.sequence import Loaded
from coordinator.sequence.models.cell_model import ParameterKind as Kind

_ROUND = re.compile(r" round (\d+)(?: #\d+)?$")
# A node's name says in which round something is done to a bolt.

Aspect = tuple[str, str]
"""What of a step, and of which parameter, fault, result or interlock; the second may be empty."""


@dataclass(frozen=True, slots=True)
class RuleFacts:
    """What follows a fault of a step."""

    attempts: int
    recover: tuple[str, ...]
    again_from: str
    then: str


@dataclass(frozen=True, slots=True)
class Step:
    """One node of a lane."""

    kind: NodeKind
    what: str
    """The action, barrier or point in words."""
    party: str
    bolt: int = 0
    """0 where it is done to no bolt."""
    noun: str = "bolt"
    """What the action calls it: a bolt or a hole."""
    round: int = 0
    apart: str = ""
    """What else tells it from others: the tool, or the loops around a barrier."""
    record: str = ""
    place: str = ""
    aspects: Mapping[Aspect, object] = field(default_factory=dict)
    kinds: Mapping[str, str] = field(default_factory=dict)
    """Kind of each parameter."""

    @property
    def key(self) -> tuple[str, str, int, int, str]:
        """What makes it the same step in another plan."""
        return self.kind, self.what, self.bolt, self.round, self.apart

    @property
    def phrase(self) -> str:
        """How it is called where steps are put in order."""
        if self.kind is NodeKind.STEP:
            return f"{self.what} {self.apart}".rstrip()
        return f"{self.kind.value} {self.what}"


def steps_of(loaded: Loaded, lane: int) -> tuple[Step, ...]:
    """Return the steps of a lane in the order of the file."""
    reader = _Reader(loaded)
    return tuple(reader.step(number, lane) for number in loaded.plan.lanes[lane])


class _Reader:
    def __init__(self, loaded: Loaded) -> None:
        self._cell = loaded.cell
        self._plan = loaded.plan

    def step(self, number: int, lane: int) -> Step:
        """Return one node as facts."""
        node, party = self._plan.nodes[number], self._plan.parties[lane].name
        place = place_words(node.origin)
        after = self._after(number)
        if node.move is None:
            name, _, loops = node.name.partition(" (")
            # A barrier waits for whatever stands before it; that is told of the steps.
            aspects: dict[Aspect, object] = (
                {} if node.kind is NodeKind.BARRIER else {("after", ""): after}
            )
            return Step(
                node.kind, plain(name), party, apart=loops.rstrip(")"), place=place, aspects=aspects
            )
        action = self._cell.actions[node.move.action]
        values = dict(node.move.parameters)
        bolt, tool = action.first_of(Kind.BOLT), action.first_of(Kind.TOOL)
        found = _ROUND.search(node.name)
        return Step(
            kind=node.kind,
            what=plain(node.move.action),
            party=party,
            bolt=int(values[bolt]) if bolt is not None else 0,
            noun=plain(bolt or "bolt"),
            round=int(found[1]) if found else 0,
            apart=str(values[tool]) if tool is not None else "",
            record="" if node.record is None else node.record.kind,
            place=place,
            aspects={("after", ""): after} | self._aspects(node, node.move, (bolt, tool)),
            kinds={name: str(kind) for name, kind in action.takes.items()},
        )

    def _aspects(
        self, node: Node, move: Move, in_key: tuple[str | None, str | None]
    ) -> dict[Aspect, object]:
        plan = self._plan
        found: dict[Aspect, object] = {
            ("parameter", name): value for name, value in move.parameters if name not in in_key
        }
        found |= {
            ("timeout", ""): move.timeout_us,
            ("no_progress", ""): move.no_progress_us,
            ("on_hold", ""): move.on_hold,
            ("zone", ""): plan.zones[move.zone] if move.zone >= 0 else "",
            ("permissives", ""): tuple(
                sorted(plain(plan.interlocks[one].name) for one in node.permissives)
            ),
            ("rechecks", ""): tuple(self._move_words(one, node) for one in node.rechecks),
            ("leave", ""): tuple(self._move_words(one, node) for one in node.leave),
            ("record", ""): "" if node.record is None else node.record.kind,
        }
        found |= {("window", one.result): (one.least, one.most) for one in node.windows}
        found |= {("fault", one.fault): self._rule(one, node) for one in node.rules}
        found |= {
            ("despite", plain(plan.interlocks[place].name)): reason
            for place, reason in node.exceptions
        }
        return found

    def _rule(self, rule: Rule, node: Node) -> RuleFacts:
        plan = self._plan
        then = str(rule.then)
        if rule.prompt >= 0:
            then = f"ask {plain(plan.prompts[rule.prompt].name)}"
        again = self._named(rule.again_from, node) if rule.again_from >= 0 else ""
        return RuleFacts(
            rule.attempts, tuple(self._move_words(one, node) for one in rule.recover), again, then
        )

    def _move_words(self, move: Move, node: Node) -> str:
        """Return a move in words; what it takes from its step goes without saying."""
        takes = self._cell.actions[move.action].takes
        own = dict(node.move.parameters) if node.move else {}
        said = [
            f"{plain(name)} {quantity(value, takes[name], 9)}"
            for name, value in move.parameters
            if takes[name] is not Kind.BOLT or own.get(name) != value
        ]
        return f"{plain(move.action)} ({', '.join(said)})" if said else plain(move.action)

    def _named(self, number: int, seen_from: Node) -> str:
        """Return a node's name, without the bolt if that is the bolt of the step itself."""
        node = self._plan.nodes[number]
        if node.move is None or seen_from.move is None:
            return plain(node.name)
        noun, bolt = self._bolt(node)
        own = self._bolt(seen_from)[1]
        prefix = plain(node.move.action)
        rest = node.name.removeprefix(prefix)
        if bolt and bolt == own:
            rest = rest.removeprefix(f" {noun} {bolt}").removeprefix(f" {bolt}")
        return prefix + rest

    def _bolt(self, node: Node) -> tuple[str, int]:
        """Return what the action calls its bolt, and the bolt; 0 for none."""
        move = node.move
        name = None if move is None else self._cell.actions[move.action].first_of(Kind.BOLT)
        if move is None or name is None:
            return "bolt", 0
        return name, int(dict(move.parameters)[name])

    def _after(self, number: int) -> tuple[str, ...] | None:
        """Return the names of what a node waits for, None if that is just the node above."""
        nodes = self._plan.nodes
        node = nodes[number]
        first = self._plan.lanes[node.lane][0] == number
        if node.after == (() if first else (number - 1,)):
            return None
        return tuple(sorted(self._named(one, node) for one in node.after))
