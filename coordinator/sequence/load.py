"""Load files from disk: the door through which a sequence becomes a plan.

Invariants: SQ3, no file of a sequence is read outside its folder; SQ4, every finding of every file
is told at once, and the same one only once.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from pathlib import Path
from typing import Literal, TypeVar

from coordinator.core.plan import Plan, Value
from coordinator.sequence.compile import compile_plan
from coordinator.sequence.compiler.joint import JointFigures
from coordinator.sequence.compiler.own_properties import OwnProperty
from coordinator.sequence.form.diagnostics import Findings, SequenceError
from coordinator.sequence.form.kinds import kind_of_tree
from coordinator.sequence.form.source import read_document
from coordinator.sequence.form.tree import Document
from coordinator.sequence.models.cell_model import CellModel
from coordinator.sequence.models.sequence_model import SequenceModel
from coordinator.sequence.read import cell_at, joint_at, read_files, root_of

_Result = TypeVar("_Result")

Begins = Literal["joint_open", "joint_made_up"]


@dataclass(frozen=True, slots=True)
class Loaded:
    """A sequence, its plan, and what it was made of."""

    plan: Plan
    properties: tuple[OwnProperty, ...]
    """What the author wants proved beside what every sequence is held to."""
    cell: CellModel
    joint: JointFigures
    sequence: SequenceModel
    files: tuple[tuple[str, str], ...]
    """(path below the sequences folder, SHA-256) of the sequence, the file it is
    based on if it is, the cell and the joint."""
    begins: Begins
    document: Document
    """The whole sequence as written, for places."""
    values: Mapping[str, Value]
    """The values of the sequence by name, those of the file based on it first."""


def load(path: Path | str, *, joint: Path | str | None = None, today: date | None = None) -> Loaded:
    """Read a sequence with its cell and its joint, judge them by every rule, and compile them.

    Args:
        path: The sequence file.
        joint: A joint file instead of the one that the sequence names.
        today: Day on which calibrations must still count; None leaves them unjudged.

    Raises:
        SequenceError: With every finding.
    """
    given, documents = read_files(Path(path), None if joint is None else Path(joint))
    files = tuple((one.relative, one.digest) for one in documents)
    lines = "".join(f"{digest}  {name}\n" for name, digest in files)
    digest = sha256(lines.encode()).hexdigest()
    compiled = compile_plan(given, digest=digest, today=today)
    return Loaded(
        plan=compiled.plan,
        properties=compiled.properties,
        cell=given.cell,
        joint=given.joint,
        sequence=given.sequence,
        files=files,
        begins=given.sequence.begins,
        document=given.document,
        values={name: one.value for name, one in given.values.items()},
    )


def read_cell(path: Path | str) -> CellModel:
    """Read and judge a cell file by itself.

    Raises:
        SequenceError: With every finding.
    """
    findings = Findings()
    _, cell = cell_at(Path(path), root_of(Path(path)), findings)
    return _checked(cell, findings)


def read_joint(path: Path | str) -> JointFigures:
    """Read and judge a joint file by itself.

    Raises:
        SequenceError: With every finding.
    """
    findings = Findings()
    _, joint = joint_at(Path(path), root_of(Path(path)), findings)
    return _checked(joint, findings)


def kind_of(path: Path | str) -> str:
    """Return what kind of file it is by its keys, such as `sequence`; empty for none."""
    try:
        document = read_document(Path(path), root_of(Path(path)), Findings())
    except SequenceError:
        return ""
    return "" if document is None else kind_of_tree(document.tree)


def _checked(result: _Result | None, findings: Findings) -> _Result:
    if result is None or findings:
        raise SequenceError(findings.all())
    return result
