"""Judge what is declared: names that lead nowhere, and things that nothing uses."""

from collections.abc import Collection, Iterable, Iterator, Mapping

from coordinator.sequence.compiler.expand import Input
from coordinator.sequence.form.diagnostics import Findings
from coordinator.sequence.form.tree import Data, Document, Teller, Trail
from coordinator.sequence.models.cell_model import CellModel
from coordinator.sequence.models.sequence_model import (
    AskModel,
    DoStep,
    EachStep,
    PointStep,
    SequenceModel,
    Step,
    UseStep,
)
from coordinator.sequence.rules.gateway import check_gateway


def check_cell(cell: CellModel, document: Document, findings: Findings) -> None:
    """Tell of every name in a cell that leads nowhere."""
    tools = {tool: True for side in cell.sides.values() for tool in side.tools}
    checker = _Names(document, findings)
    for name, interlock in cell.interlocks.items():
        trail: Trail = ("interlocks", name, "good_when")
        checker.known("SEQ028", "signal", interlock.good_when, cell.signals, trail)
        for place, again in enumerate(interlock.recheck):
            checker.known(
                "SEQ014", "action", again, cell.actions, ("interlocks", name, "recheck", place)
            )
        if interlock.kind == "trip" and interlock.override is not None:
            what, must = f"{name!r} is a trip with an override", "must have none"
            do = "take 'override' out: a trip is reset, never overridden"
            checker.tell(("interlocks", name, "override"), "SEQ009", what, must, do)
    for name, action in cell.actions.items():
        here: Trail = ("actions", name)
        if action.needs is not None:
            checker.known("SEQ018", "tool", action.needs, tools, (*here, "needs"))
        if action.zone is not None:
            checker.known("SEQ029", "zone", action.zone, cell.zones, (*here, "zone"))
        for place, fault in enumerate(action.raises):
            checker.known("SEQ030", "fault", fault, cell.faults, (*here, "raises", place))
        for key, names in (("recheck", action.recheck), ("leave", action.leave)):
            for place, other in enumerate(names):
                checker.known("SEQ014", "action", other, cell.actions, (*here, key, place))
        if action.reacts_on is not None:
            takes = action.takes
            checker.known("SEQ015", "parameter", action.reacts_on, takes, (*here, "reacts_on"))
        for key, interlocks in (("brings", action.brings), ("clears", action.clears)):
            for place, one in enumerate(interlocks):
                checker.known("SEQ027", "interlock", one, cell.interlocks, (*here, key, place))
    if cell.timing.renew >= cell.timing.lease:
        what, must = "renew is not below lease", "must be below it, or arms hold in between"
        do = "renew the lease two or three times within it"
        checker.tell(("timing", "renew"), "SEQ009", what, must, do)
    if cell.hoist in cell.sides:
        what, must = f"hoist is called {cell.hoist!r}", "must not be called like a side"
        checker.tell(("hoist",), "SEQ010", what, must, "rename it")
    check_gateway(cell, document, findings)


def check_declared(given: Input) -> None:
    """Tell of exceptions that are not sound, and of things that nothing uses."""
    checker = _Names(given.document, given.findings)
    for name, model in given.sequence.exceptions.items():
        trail: Trail = ("exceptions", name)
        interlocks = given.cell.interlocks
        checker.known("SEQ027", "interlock", model.interlock, interlocks, (*trail, "interlock"))
        interlock = interlocks.get(model.interlock)
        if interlock is not None and interlock.kind != "interlock":
            what = f"{model.interlock!r} is a {interlock.kind}"
            given.tell((*trail, "interlock"), "SEQ057", what)
        if not model.reason.strip():
            what = f"exception {name!r} gives no reason"
            given.tell(trail, "SEQ043", what, key=True)
    _check_use(given)
    _check_values(given)


class _Names(Teller):
    """Tells of names that are not known to the cell."""

    def known(self, code: str, what: str, name: str, names: Collection[str], trail: Trail) -> None:
        """Tell if `name` is not among `names`."""
        self.knows(trail, code, what, name, names, of=f"{what}s of the cell")


def _check_use(given: Input) -> None:
    model = given.sequence
    used = _used(model)
    declared: Mapping[str, Iterable[str]] = {
        "points": model.points,
        "prompts": model.prompts,
        "policies": model.policies,
        "exceptions": model.exceptions,
        "blocks": model.blocks,
    }
    for section, names in declared.items():
        for name in names:
            if (section, name) not in used:
                what = f"{name!r} of {section} is used nowhere"
                must, do = "must be used", "use it or take it out"
                given.tell((section, name), "SEQ044", what, must, do, key=True)


def _used(model: SequenceModel) -> dict[tuple[str, str], bool]:
    """Return (section, name) of everything that some step or policy names."""
    used: dict[tuple[str, str], bool] = {}
    if isinstance(model.otherwise, AskModel):
        used["prompts", model.otherwise.ask] = True
    for rules in model.policies.values():
        for rule in rules.values():
            if isinstance(rule.then, AskModel):
                used["prompts", rule.then.ask] = True
    lists = [block.steps for block in model.blocks.values()]
    for steps in (*lists, *model.lanes.values()):
        for step in _all_steps(steps):
            used.update(dict.fromkeys(_names_of(step), True))
    return used


def _all_steps(steps: tuple[Step, ...]) -> Iterator[Step]:
    for step in steps:
        yield step
        if isinstance(step, EachStep):
            yield from _all_steps(step.steps)


def _names_of(step: Step) -> list[tuple[str, str]]:
    names: list[tuple[str, str]] = []
    if isinstance(step, DoStep | UseStep | EachStep):
        names += [("exceptions", name) for name in step.exceptions]
    if isinstance(step, UseStep):
        names.append(("blocks", step.use))
    if isinstance(step, DoStep) and step.policy is not None:
        names.append(("policies", step.policy))
    if isinstance(step, PointStep):
        names.append(("points", step.point))
    return names


def _check_values(given: Input) -> None:
    """Tell of values that no lane refers to, and of own values for names that there are not."""
    data = given.document.tree.data
    used = ("lanes", "properties")
    parts = [data[one] for one in used if one in data] if isinstance(data, dict) else []
    said = _texts(tuple(parts))
    for name in given.sequence.values:
        if f"${name}" not in said:
            what, must = f"{name!r} of values is used nowhere", "must be used in a lane"
            given.tell(("values", name), "SEQ044", what, must, "use it or take it out", key=True)


def _texts(data: Data) -> dict[str, bool]:
    """Return every text that stands somewhere in a part of a file."""
    if isinstance(data, str):
        return {data: True}
    parts = data.values() if isinstance(data, dict) else data if isinstance(data, tuple) else ()
    return {text: True for part in parts for text in _texts(part)}
