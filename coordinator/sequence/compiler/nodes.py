"""Make the nodes of the plan out of unfolded steps and barriers.

A name says what is done to which bolt in which round.

Units: SI parameters; times microseconds; torque newton metre.
Invariants: SQ12, a node's name stands once in its lane.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from coordinator.core.plan import Move, Node, NodeKind, Record, Value, Window
from coordinator.sequence.compiler.barriers import Meetings, instance_name
from coordinator.sequence.compiler.expand import Input, Item
from coordinator.sequence.compiler.moves import MoveMaker, Values
from coordinator.sequence.compiler.order import Ids, predecessors, step_ids
from coordinator.sequence.compiler.points import PointMaker
from coordinator.sequence.compiler.recovery import WINDOW_FAULT, RuleMaker, check_policies
from coordinator.sequence.form.tree import Trail
from coordinator.sequence.models.cell_model import ActionModel
from coordinator.sequence.models.cell_model import ParameterKind as Kind
from coordinator.sequence.models.sequence_model import BarrierStep, DoStep, PointStep

UNIT_KINDS: Mapping[str, Kind] = {
    "_nm": Kind.TORQUE,
    "_pa": Kind.PRESSURE,
    "_rad": Kind.ANGLE,
    "_m": Kind.LENGTH,
    "_n": Kind.FORCE,
    "_s": Kind.TIME,
}


@dataclass(frozen=True, slots=True)
class Built:
    """A step of the plan beside what it was made of, for the rules that judge it."""

    index: int
    item: Item
    node: Node
    name: str
    action: ActionModel
    values: Values


def build_nodes(
    given: Input, items: tuple[Item, ...], met: Meetings
) -> tuple[tuple[Node, ...], tuple[Built, ...]]:
    """Return every node, and the steps among them with their actions."""
    check_policies(given)
    ids = step_ids(given, items)
    builder = _Builder(given, items, met, ids)
    nodes = tuple(builder.node(index) for index in range(len(items)))
    builder.finish()
    return nodes, tuple(builder.built)


class _Builder:
    def __init__(self, given: Input, items: tuple[Item, ...], met: Meetings, ids: Ids) -> None:
        self.built: list[Built] = []
        self._given = given
        self._items = items
        self._met = met
        self._after = predecessors(given, items, ids)
        self._moves = MoveMaker(given)
        self._rules = RuleMaker(given, self._moves, ids, items)
        self._interlocks = {name: place for place, name in enumerate(given.cell.interlocks)}
        self._points = PointMaker(given)
        self._names: dict[tuple[int, str], int] = {}

    def finish(self) -> None:
        """Tell what shows only once every step is built."""
        self._rules.check_use(is_span_known=self._met.is_sound)

    def node(self, index: int) -> Node:
        """Return the node of one item."""
        item = self._items[index]
        if isinstance(item.step, BarrierStep):
            return Node(
                name=instance_name(item.step.barrier, item.place.loops),
                lane=item.lane,
                kind=NodeKind.BARRIER,
                after=self._after[index],
                barrier=self._met.barrier_of.get(index, -1),
                loops=item.place.loops,
                origin=self._given.document.origin(item.trail),
            )
        if isinstance(item.step, PointStep):
            return self._points.node(item, item.step, self._after[index])
        return self._step(index, item, item.step)

    def _step(self, index: int, item: Item, step: DoStep) -> Node:
        action = self._moves.action(step.do, (*item.trail, "do"))
        if action is None:
            return Node(step.do, item.lane, NodeKind.STEP, self._after[index])
        self._check_party(item, step, action)
        values = self._moves.values(step, action, item.place.scope, item.trail, {})
        number = self._round(item, step)
        span = self._met.span_of.get(index, -1)
        # Moves that lean on a parameter that was told to be wrong would only tell it again.
        is_complete = len(values) == len(action.takes)
        node = Node(
            name=self._unique(item.lane, _step_name(step, action, values, number)),
            lane=item.lane,
            kind=NodeKind.STEP,
            after=self._after[index],
            move=self._moves.move(
                step.do,
                action,
                values,
                timeout_us=step.timeout,
                no_progress_us=step.no_progress,
                on_hold=step.on_hold,
            ),
            rules=self._rules.rules(
                index,
                action,
                (lambda name: self._taken(item, name, values)) if is_complete else None,
                is_in_span=span >= 0,
            ),
            windows=self._windows(item, step, action),
            exceptions=self._exceptions(item, step),
            permissives=self._permissives(item, step),
            rechecks=self._rechecks(item, step, action, values) if is_complete else (),
            leave=self._leave(item, action, values) if is_complete else (),
            loops=item.place.loops,
            span=span,
            record=_record(action, values, number),
            origin=self._given.document.origin(item.trail),
        )
        self.built.append(Built(index, item, node, step.do, action, values))
        return node

    def _taken(self, item: Item, action: str, values: Values) -> Values:
        """Return what a move beside a step takes over: from the step, else from its last like.

        The last such action above it counts only if it was about the same bolt.
        """
        for built in reversed(self.built):
            if built.item.lane == item.lane and built.name == action:
                shared = [name for name in built.values if name in values]
                if all(built.values[name] == values[name] for name in shared):
                    return {**built.values, **values}
                break
        return values

    def _check_party(self, item: Item, step: DoStep, action: ActionModel) -> None:
        is_arm = item.lane < len(self._given.cell.sides)
        if is_arm == (action.by == "arm"):
            return
        what = f"{step.do!r} stands in lane {self._given.parties[item.lane]!r}"
        whose = "a side" if action.by == "arm" else "the hoist"
        must = f"must stand in the lane of {whose}"
        self._given.tell((*item.trail, "do"), "SEQ021", what, must, "move it to that lane")

    def _round(self, item: Item, step: DoStep) -> int:
        """Return the round that a step belongs to: as written, or of the loop around it."""
        if step.round is None:
            return dict(item.place.loops).get("round", 0)
        trail = (*item.trail, "round")
        value = self._moves.resolver.value(step.round, Kind.COUNT, item.place.scope, trail)
        return value if isinstance(value, int) else 0

    def _unique(self, lane: int, name: str) -> str:
        """Return the name, numbered from its second appearance in a lane."""
        count = self._names.get((lane, name), 0) + 1
        self._names[(lane, name)] = count
        return name if count == 1 else f"{name} #{count}"

    def _windows(self, item: Item, step: DoStep, action: ActionModel) -> tuple[Window, ...]:
        windows = []
        for result, bounds in step.expect.items():
            trail: Trail = (*item.trail, "expect", result)
            known, of = action.results, f"results of {step.do!r}"
            if not self._given.knows(trail, "SEQ031", "result", result, known, of=of, key=True):
                continue
            kind = _result_kind(result)
            least, most = (
                self._moves.resolver.value(bound, kind, item.place.scope, (*trail, side))
                for side, bound in enumerate(bounds)
            )
            if least is None or most is None:
                continue
            if float(least) > float(most):
                what, must = f"window of {result!r} is empty", "must run from least to most"
                self._given.tell(trail, "SEQ009", what, must, "swap the two values")
            windows.append(Window(result, float(least), float(most), WINDOW_FAULT))
        return tuple(windows)

    def _exceptions(self, item: Item, step: DoStep) -> tuple[tuple[int, str], ...]:
        own = tuple(
            (name, (*item.trail, "exceptions", place)) for place, name in enumerate(step.exceptions)
        )
        found: dict[int, str] = {}
        for name, trail in item.place.exceptions + own:
            known = self._given.sequence.exceptions
            of = "exceptions of this file"
            is_known = self._given.knows(trail, "SEQ025", "exception", name, known, of=of)
            if is_known and known[name].interlock in self._interlocks:
                # The innermost exception comes last: its reason is the closest to the step.
                found[self._interlocks[known[name].interlock]] = known[name].reason
        return tuple(sorted(found.items()))

    def _permissives(self, item: Item, step: DoStep) -> tuple[int, ...]:
        """Return the interlocks that must be good for this step to begin."""
        found = []
        for place, name in enumerate(step.permissives):
            trail, known = (*item.trail, "permissives", place), self._interlocks
            of = "interlocks of the cell"
            if self._given.knows(trail, "SEQ027", "interlock", name, known, of=of):
                found.append(known[name])
        return tuple(sorted(found))

    def _leave(self, item: Item, action: ActionModel, values: Values) -> tuple[Move, ...]:
        """Return the moves by which the step is left, each where its parameters are known."""
        moves = []
        for name in action.leave:
            move, known = self._given.cell.actions.get(name), self._taken(item, name, values)
            if move is not None and all(one in known for one in move.takes):
                taken = {one: known[one] for one in move.takes}
                moves.append(self._moves.move(name, move, taken))
        return tuple(moves)

    def _rechecks(
        self, item: Item, step: DoStep, action: ActionModel, values: Values
    ) -> tuple[Move, ...]:
        moves = []
        written = step.recheck is not None
        for place, name in enumerate(step.recheck if step.recheck is not None else action.recheck):
            trail = (*item.trail, "recheck", place) if written else (*item.trail, "do")
            again = self._given.cell.actions.get(name)
            if again is None:
                if written:
                    self._moves.action(name, trail)
                continue
            known = self._taken(item, name, values)
            missing = [one for one in again.takes if one not in known]
            # What the cell asks for is confirmed where the sequence did it; a step's own is owed.
            for one in missing if written else ():
                what = f"recheck {name!r} is given no {one!r}"
                must = "must take it from the step, or from the last such action above it"
                self._given.tell(trail, "SEQ016", what, must, "recheck by another action")
            if not missing:
                taken = {one: known[one] for one in again.takes}
                moves.append(self._moves.move(name, again, taken))
        return tuple(moves)


def _result_kind(result: str) -> Kind:
    """Return what a result measures, by the unit at the end of its name."""
    return next(
        (kind for suffix, kind in UNIT_KINDS.items() if result.endswith(suffix)), Kind.NUMBER
    )


def _step_name(step: DoStep, action: ActionModel, values: Mapping[str, Value], number: int) -> str:
    words = [step.do.replace("_", " ")]
    tool, bolt = action.first_of(Kind.TOOL), action.first_of(Kind.BOLT)
    if tool is not None and tool in values:
        words.append(str(values[tool]))
    if bolt is not None and bolt in values:
        # `pick bolt 5`, not `pick bolt bolt 5`.
        is_said = step.do.endswith(f"_{bolt}")
        words.append(str(values[bolt]) if is_said else f"{bolt} {values[bolt]}")
    if number:
        words.append(f"round {number}")
    return " ".join(words)


def _record(action: ActionModel, values: Mapping[str, Value], number: int) -> Record | None:
    """Return what the step proves, or None when it proves nothing about a bolt."""
    bolt = action.first_of(Kind.BOLT)
    if action.records is None or bolt is None or bolt not in values:
        return None
    target = values.get("torque", 0.0)
    return Record(int(values[bolt]), action.records, number, float(target))
