"""Look beyond the mistakes of form for those of meaning, so that both are told at once.

What is wrong in form is put aside: a step gives way to an empty place, a declaration is left out.
Of what is found then, only that is told which cannot come of what was put aside.

Invariants: SQ5, no finding is told that goes away when the form is put right.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from pydantic import ValidationError

from coordinator.sequence.compile import compile_plan
from coordinator.sequence.compiler.expand import Input
from coordinator.sequence.compiler.joint import JointFigures
from coordinator.sequence.compiler.references import Bound
from coordinator.sequence.form.diagnostics import Findings, SequenceError
from coordinator.sequence.form.tree import Data, Document, Trail
from coordinator.sequence.models.cell_model import CellModel
from coordinator.sequence.models.fields import Written
from coordinator.sequence.models.sequence_model import SequenceModel
from coordinator.sequence.models.validate import errors_of

SURE = (
    *("SEQ014", "SEQ015", "SEQ016", "SEQ017", "SEQ018", "SEQ019", "SEQ021", "SEQ022"),
    *("SEQ011", "SEQ012", "SEQ027", "SEQ030", "SEQ031", "SEQ041", "SEQ042", "SEQ049"),
)
"""Codes of findings that rest on one step and on the cell and the joint."""
_OF_SECTION = {
    "barriers": "SEQ033",
    "blocks": "SEQ026",
    "exceptions": "SEQ025",
    "policies": "SEQ023",
    "prompts": "SEQ024",
    "values": "SEQ013",
}
"""Codes of names looked up in a section, which count while nothing was left out of it."""
_SECTIONS = (*_OF_SECTION, "points", "properties")


@dataclass(frozen=True, slots=True)
class Incomplete:
    """A sequence that is wrong in form beside its cell and its joint, which are not."""

    document: Document
    cell: CellModel
    cell_document: Document
    joint: JointFigures
    own_values: Mapping[str, Written] = field(default_factory=dict)
    """Of a file that is based on it; they stand for its own."""


_ASIDE = {"point": "put_aside"}
_STAND_IN = {"sequence": "put_aside", "text": "put aside", "begins": "joint_open"}


def tell_beyond(given: Incomplete, findings: Findings) -> None:
    """Tell `findings` what is wrong in meaning with a sequence that is wrong in form."""
    rest = _beyond(given.document.tree.data)
    if rest is None:
        return
    sequence, codes = rest
    values = {
        name: Bound(given.own_values.get(name, one), None, ("values", name))
        for name, one in sequence.values.items()
    }
    found = Findings()
    try:
        compile_plan(
            Input(
                *(sequence, given.document, given.cell, given.cell_document, given.joint),
                findings=found,
                values=values,
            ),
            digest="",
        )
    except SequenceError as error:
        for diagnostic in error.diagnostics:
            if diagnostic.code in codes:
                findings.add(diagnostic)


def _beyond(data: Data) -> tuple[SequenceModel, tuple[str, ...]] | None:
    """Return a sequence without what is wrong in its form, and the codes that count for it.

    Args:
        data: The file as data, wrong in form.

    Returns:
        None if too much is wrong to look any further.
    """
    if not isinstance(data, dict):
        return None
    rest = {key: _thawed(value) for key, value in data.items()}
    left_out: dict[str, bool] = {}
    for trail in errors_of(SequenceModel, data):
        if not _put_aside(rest, trail, left_out):
            return None
    try:
        found = SequenceModel.model_validate(_frozen(rest))
    except ValidationError:
        return None
    names = tuple(code for section, code in _OF_SECTION.items() if section not in left_out)
    return found, (*SURE, *names)


def _put_aside(rest: dict[str, Any], trail: Trail, left_out: dict[str, bool]) -> bool:
    """Put aside what stands at a trail; return False if that cannot be done."""
    step = _step_at(trail)
    if step is not None:
        inside: Any = rest
        for part in step[:-1]:
            inside = inside[part]
        inside[step[-1]] = dict(_ASIDE)
        return True
    top = trail[0] if trail else ""
    if top in _STAND_IN:
        rest[str(top)] = _STAND_IN[str(top)]
        return True
    if top in _SECTIONS:
        left_out[str(top)] = True
        if len(trail) > 1 and isinstance(rest[str(top)], dict):
            rest[str(top)].pop(trail[1], None)
        else:
            rest.pop(str(top), None)
        return True
    if top in ("lanes", "cell", "joint", "") or top not in rest:
        return False
    # A key that nobody knows may be the misspelt name of any section.
    left_out.update(dict.fromkeys(_SECTIONS, True))
    rest.pop(str(top))
    return True


def _step_at(trail: Trail) -> Trail | None:
    """Return the trail of the innermost step around a trail."""
    first = {"lanes": 3, "blocks": 4}.get(str(trail[0]) if trail else "")
    if first is None or len(trail) < first or not isinstance(trail[first - 1], int):
        return None
    if first == 4 and trail[2] != "steps":
        return None
    end = first
    while len(trail) >= end + 2 and trail[end] == "steps" and isinstance(trail[end + 1], int):
        end += 2
    return trail[:end]


def _thawed(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _thawed(one) for key, one in value.items()}
    return [_thawed(one) for one in value] if isinstance(value, tuple) else value


def _frozen(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _frozen(one) for key, one in value.items()}
    return tuple(_frozen(one) for one in value) if isinstance(value, list) else value
