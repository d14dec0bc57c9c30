"""Unfold the lanes of a sequence: blocks in place of their uses, loops in place of their rounds.

Each unfolded step remembers its place in the file, the loops around it, the names it can refer to
and the exceptions that hold for it.

Invariants: SQ11, what is unfolded has a bound.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from coordinator.core.plan import Value
from coordinator.sequence.compiler.joint import JointFigures
from coordinator.sequence.compiler.references import (
    Bound,
    Resolver,
    Scope,
    joint_group,
    pair_group,
    round_group,
)
from coordinator.sequence.form.diagnostics import Findings
from coordinator.sequence.form.tree import Document, Tells, Trail
from coordinator.sequence.models.cell_model import CellModel
from coordinator.sequence.models.cell_model import ParameterKind as Kind
from coordinator.sequence.models.sequence_model import (
    BarrierStep,
    DoStep,
    EachStep,
    PointStep,
    SequenceModel,
    Step,
    UseStep,
)

ITEMS_MAX = 10_000
LISTS_MAX = 30_000
# Chosen: a make-up of 24 bolts in five rounds unfolds to about 2,000, in some 500 lists.
BLOCKS_DEEP_MAX = 24
# Chosen: as deep as a file may nest.

_UNKNOWN = Bound("", None, is_known=False)
# Stands for an argument that was told to be wrong, so that its uses are not told again.

Loops = tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class Item:
    """One unfolded step or barrier of a lane."""

    lane: int
    step: DoStep | BarrierStep | PointStep
    trail: Trail
    place: "Surroundings"


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What holds for all steps of one unfolded list."""

    scope: Scope
    loops: Loops = ()
    exceptions: tuple[tuple[str, Trail], ...] = ()
    own_bolt: int = 0
    """Bolt of the loop over this side's bolts, also inside blocks; 0 without such a loop."""
    blocks: tuple[str, ...] = ()
    """Names of the blocks around, outermost first."""
    group: int = 0
    """Number of the unfolded list; ids are looked up within one list."""


@dataclass(frozen=True, slots=True)
class Input(Tells):
    """The three files and whom to tell; what it tells is about the sequence file."""

    sequence: SequenceModel
    document: Document
    cell: CellModel
    cell_document: Document
    joint: JointFigures
    findings: Findings
    values: Mapping[str, Bound] = field(default_factory=dict)
    """The values of the sequence, or of the file that is based on it."""

    @property
    def parties(self) -> tuple[str, ...]:
        """Names of the parties in the order of their lanes."""
        return (*self.cell.sides, *((self.cell.hoist,) if self.cell.hoist else ()))


def unfold(given: Input) -> tuple[tuple[Item, ...], ...]:
    """Return the unfolded lane of each party, in the order of the parties."""
    parties = given.parties
    for name in given.sequence.lanes:
        here = ("lanes", name)
        given.knows(here, "SEQ022", "lane", name, parties, of="parties of the cell", key=True)
    unfolder = _Unfolder(given)
    return tuple(unfolder.lane(number, name) for number, name in enumerate(parties))


class _Unfolder:
    def __init__(self, given: Input) -> None:
        self._given = given
        self._resolver = Resolver(given.document, given.joint, given.findings)
        self._groups = 0
        self._items: list[Item] = []
        self._lane = 0
        self._lists = 0

    def lane(self, number: int, name: str) -> tuple[Item, ...]:
        """Return one lane, unfolded."""
        self._items, self._lane, self._lists = [], number, 0
        scope = Scope(self._given.values, {"joint": joint_group(self._given.joint)})
        steps = self._given.sequence.lanes.get(name, ())
        self._list(steps, ("lanes", name), Surroundings(scope))
        if self._is_too_long():
            what = f"lane {name!r} unfolds to more than {ITEMS_MAX} steps"
            self._given.tell(("lanes", name), "SEQ002", what, "must be fewer", "split the sequence")
        return tuple(self._items)

    def _list(self, steps: tuple[Step, ...], trail: Trail, place: Surroundings) -> None:
        self._groups += 1
        self._lists += 1
        inside = replace(place, group=self._groups)
        for number, step in enumerate(steps):
            if self._is_too_long():
                return
            here = (*trail, number)
            match step:
                case DoStep() | BarrierStep() | PointStep():
                    self._items.append(Item(self._lane, step, here, inside))
                case UseStep():
                    self._use(step, here, inside)
                case EachStep():
                    self._each(step, here, inside)

    def _is_too_long(self) -> bool:
        # Blocks that unfold to nothing are counted too: they could double at each level.
        return len(self._items) >= ITEMS_MAX or self._lists >= LISTS_MAX

    def _use(self, step: UseStep, trail: Trail, place: Surroundings) -> None:
        given = self._given
        blocks, here = given.sequence.blocks, (*trail, "use")
        if not given.knows(here, "SEQ026", "block", step.use, blocks, of="blocks of this file"):
            return
        block = blocks[step.use]
        if step.use in place.blocks:
            ring = " > ".join((*place.blocks, step.use))
            given.tell(here, "SEQ047", f"block {step.use!r} runs {ring}")
            return
        if len(place.blocks) >= BLOCKS_DEEP_MAX:
            what = f"block {step.use!r} stands inside {len(place.blocks)} others"
            must, do = f"must stand inside at most {BLOCKS_DEEP_MAX - 1}", "use fewer blocks"
            given.tell(here, "SEQ002", what, must, do)
            return
        scope = Scope(self._arguments(step, block.takes, trail, place), place.scope.groups)
        # A block sees its parameters and the joint, never the loops of whoever uses it.
        scope = Scope(scope.values, {"joint": place.scope.groups["joint"]})
        inside = replace(
            _with_exceptions(place, step.exceptions, trail),
            scope=scope,
            blocks=(*place.blocks, step.use),
        )
        self._list(block.steps, ("blocks", step.use, "steps"), inside)

    def _arguments(
        self, step: UseStep, takes: tuple[str, ...], trail: Trail, place: Surroundings
    ) -> dict[str, Bound]:
        arguments: dict[str, Bound] = {}
        for name, written in step.with_.items():
            here = (*trail, "with", name)
            of = f"parameters of block {step.use!r}"
            if self._given.knows(here, "SEQ015", "parameter", name, takes, of=of, key=True):
                bound = self._resolver.bind(written, place.scope, here)
                arguments[name] = _UNKNOWN if bound is None else bound
        for name in takes:
            if name not in step.with_:
                what = f"block {step.use!r} is used without {name!r}"
                do = f"add '{name}:' to 'with'"
                self._given.tell((*trail, "use"), "SEQ016", what, "must be given it", do)
                arguments[name] = _UNKNOWN
        return arguments

    def _each(self, step: EachStep, trail: Trail, place: Surroundings) -> None:
        given = self._given
        if any(kind == step.each for kind, _ in place.loops):
            what = f"loop over {step.each!r} stands inside one"
            given.tell((*trail, "each"), "SEQ054", what)
            return
        if step.each != "round" and self._lane >= len(given.cell.sides):
            what = f"loop over {step.each!r} stands in the lane of the hoist"
            must = "must stand in the lane of a side"
            given.tell((*trail, "each"), "SEQ021", what, must, "loop over 'round', or over nothing")
            return
        around = _with_exceptions(place, step.exceptions, trail)
        only = self._only(step, trail, place)
        for number, bolts, scope in _half(tuple(self._scopes(step.each, place.scope)), step.half):
            if only is not None and not any(one in only for one in bolts):
                continue
            loops = (*place.loops, (step.each, number))
            bolt = bolts[0] if step.each == "own_bolt" else place.own_bolt
            inside = replace(around, scope=scope, loops=loops, own_bolt=bolt)
            self._list(step.steps, (*trail, "steps"), inside)

    def _only(self, step: EachStep, trail: Trail, place: Surroundings) -> list[Value] | None:
        """Return the bolts or rounds that a loop keeps to; None for all."""
        if step.only is None:
            return None
        kind = Kind.COUNT if step.each == "round" else Kind.BOLT
        found = [
            self._resolver.value(written, kind, place.scope, (*trail, "only", number))
            for number, written in enumerate(step.only)
        ]
        return [value for value in found if value is not None]

    def _scopes(self, kind: str, scope: Scope) -> Iterator[tuple[int, tuple[int, ...], Scope]]:
        """Yield the number from 1, the bolts (or round) and the scope of each turn of a loop."""
        joint = self._given.joint
        half = joint.bolt_count // 2
        match kind:
            case "own_bolt":
                for number in range(1, half + 1):
                    bolt = self._lane * half + number
                    bound = Bound(bolt, Kind.BOLT)
                    yield number, (bolt,), scope.with_value("own_bolt", bound)
            case "pair":
                for number, pair in enumerate(joint.pairs, 1):
                    group = pair_group(number, pair[self._lane], joint.bolt_count)
                    yield number, pair, scope.with_group("pair", group)
            case _:
                for figures in joint.rounds:
                    number = figures.number
                    yield number, (number,), scope.with_group("round", round_group(figures))


_Turn = tuple[int, tuple[int, ...], Scope]


def _half(turns: tuple[_Turn, ...], half: str | None) -> tuple[_Turn, ...]:
    """Return the turns of a loop that it keeps to; the first half has the middle one."""
    middle = (len(turns) + 1) // 2
    return {"first": turns[:middle], "second": turns[middle:]}.get(half or "", turns)


def _with_exceptions(place: Surroundings, names: tuple[str, ...], trail: Trail) -> Surroundings:
    """Return the surroundings with the exceptions that a use or a loop adds."""
    added = tuple((name, (*trail, "exceptions", number)) for number, name in enumerate(names))
    return replace(place, exceptions=place.exceptions + added)
