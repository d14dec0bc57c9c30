"""Turn actions with their written parameters into moves of the plan.

A move carries the parameters that its action takes, and no other.

Units: parameters in SI; times microseconds.
"""

from collections.abc import Mapping

from coordinator.core.plan import Move, Value
from coordinator.sequence.compiler.expand import Input
from coordinator.sequence.compiler.references import Resolver, Scope
from coordinator.sequence.form.tree import Trail
from coordinator.sequence.models.cell_model import ActionModel, HoldWord
from coordinator.sequence.models.cell_model import ParameterKind as Kind
from coordinator.sequence.models.sequence_model import DoStep, MoveModel

Values = dict[str, Value]


class MoveMaker:
    """Makes moves out of what a sequence file says."""

    def __init__(self, given: Input) -> None:
        """Keep the files."""
        self._given = given
        self.resolver = Resolver(given.document, given.joint, given.findings)
        """The resolver of the sequence file."""
        self._tools = {tool: True for side in given.cell.sides.values() for tool in side.tools}
        self._zones = {name: number for number, name in enumerate(given.cell.zones)}

    def action(self, name: str, trail: Trail) -> ActionModel | None:
        """Return an action of the cell, or None after telling that there is none."""
        actions = self._given.cell.actions
        self._given.knows(trail, "SEQ014", "action", name, actions, of="actions of the cell")
        return actions.get(name)

    def values(
        self,
        step: DoStep | MoveModel,
        action: ActionModel,
        scope: Scope,
        trail: Trail,
        defaults: Mapping[str, Value],
    ) -> Values:
        """Return the parameters of a move in the order in which its action takes them.

        Args:
            step: What is written.
            action: The action it asks for.
            scope: The names it may refer to.
            trail: Where it is written.
            defaults: Values for parameters that are not written.
        """
        for name in step.with_:
            here, of = (*trail, "with", name), f"parameters of {step.do!r}"
            self._given.knows(here, "SEQ015", "parameter", name, action.takes, of=of, key=True)
        values: Values = {}
        for name, kind in action.takes.items():
            if name in step.with_:
                here = (*trail, "with", name)
                value = self.resolver.value(step.with_[name], kind, scope, here)
                if value is not None and self._is_tool(value, kind, here):
                    values[name] = value
            elif name in defaults:
                values[name] = defaults[name]
            else:
                what, do = f"{step.do!r} is given no {name!r}", f"add '{name}:' to 'with'"
                self._given.tell((*trail, "do"), "SEQ016", what, "must be given it", do)
        return values

    def _is_tool(self, value: Value, kind: Kind, trail: Trail) -> bool:
        return kind is not Kind.TOOL or self._given.knows(
            trail, "SEQ018", "tool", str(value), self._tools, of="tools of the cell"
        )

    def move(
        self,
        name: str,
        action: ActionModel,
        values: Mapping[str, Value],
        *,
        timeout_us: int | None = None,
        no_progress_us: int | None = None,
        on_hold: HoldWord | None = None,
    ) -> Move:
        """Return the move; what is None comes from the action."""
        return Move(
            action=name,
            parameters=tuple(values.items()),
            timeout_us=action.timeout if timeout_us is None else timeout_us,
            no_progress_us=action.no_progress if no_progress_us is None else no_progress_us,
            on_hold=action.on_hold if on_hold is None else on_hold,
            zone=-1 if action.zone is None else self._zones.get(action.zone, -1),
        )
