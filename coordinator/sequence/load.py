"""Load files from disk: the door through which a sequence becomes a plan.

Keeps: nothing outside the sequences folder is read; every finding of every file is told at once,
form first, then meaning.
"""

from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from pathlib import Path
from typing import Literal, TypeVar

from coordinator.core.plan import Plan
from coordinator.sequence.cell_model import CellModel
from coordinator.sequence.compile import compile_plan
from coordinator.sequence.declared import check_cell
from coordinator.sequence.diagnostics import Findings, SequenceError
from coordinator.sequence.expand import Input
from coordinator.sequence.joint import JointFigures, joint_figures
from coordinator.sequence.joint_model import JointModel
from coordinator.sequence.sequence_model import SequenceModel
from coordinator.sequence.source import read_document
from coordinator.sequence.tree import Document, Table
from coordinator.sequence.validate import Model, validate

_Result = TypeVar("_Result")

Begins = Literal["joint_open", "joint_made_up"]


@dataclass(frozen=True, slots=True)
class Loaded:
    """A sequence, its plan, and what it was made of."""

    plan: Plan
    cell: CellModel
    joint: JointFigures
    sequence: SequenceModel
    files: tuple[tuple[str, str], ...]
    """(path below the sequences folder, SHA-256) of the sequence, the cell and the joint."""
    begins: Begins


def load(path: Path | str, *, today: date | None = None) -> Loaded:
    """Read a sequence with its cell and its joint, judge them by every rule, and compile them.

    Args:
        path: The sequence file.
        today: Day on which calibrations must still count; None leaves them unjudged.

    Raises:
        SequenceError: With every finding.
    """
    given, documents = _read(Path(path))
    files = tuple((one.relative, one.digest) for one in documents)
    lines = "".join(f"{digest}  {name}\n" for name, digest in files)
    digest = sha256(lines.encode()).hexdigest()
    plan = compile_plan(given, digest=digest, today=today)
    return Loaded(plan, given.cell, given.joint, given.sequence, files, given.sequence.begins)


def read_cell(path: Path | str) -> CellModel:
    """Read and judge a cell file by itself.

    Raises:
        SequenceError: With every finding.
    """
    findings = Findings()
    document, model = _model(CellModel, Path(path), root_of(Path(path)), findings)
    if model is not None and document is not None:
        check_cell(model, document, findings)
    return _checked(model, findings)


def read_joint(path: Path | str) -> JointFigures:
    """Read and judge a joint file by itself.

    Raises:
        SequenceError: With every finding.
    """
    findings = Findings()
    document, model = _model(JointModel, Path(path), root_of(Path(path)), findings)
    figures = None
    if model is not None and document is not None:
        figures = joint_figures(model, document, findings)
    return _checked(figures, findings)


def root_of(path: Path) -> Path:
    """Return the folder that the paths of a file may not leave.

    It is the nearest folder above the file that holds `cells`, or else the file's own folder.
    """
    folder = path.absolute().parent
    return next((one for one in (folder, *folder.parents) if (one / "cells").is_dir()), folder)


def kind_of(path: Path | str) -> str:
    """Return what kind of file it is by its first key, such as `sequence`; empty for none."""
    try:
        document = read_document(Path(path), root_of(Path(path)), Findings())
    except SequenceError:
        return ""
    if document is None or not isinstance(document.tree, Table) or not document.tree.keys:
        return ""
    return document.tree.keys[0].text


def _read(path: Path) -> tuple[Input, tuple[Document, ...]]:
    root = root_of(path)
    findings = Findings()
    document, sequence = _model(SequenceModel, path, root, findings)
    # The paths are read from the tree, so that cell and joint are judged beside a wrong sequence.
    cell_path = _include(document, "cell", path, root, findings)
    joint_path = _include(document, "joint", path, root, findings)
    cell_document, cell = _optional(CellModel, cell_path, root, findings)
    if cell is not None and cell_document is not None:
        check_cell(cell, cell_document, findings)
    joint_document, joint = _optional(JointModel, joint_path, root, findings)
    figures = None
    if joint is not None and joint_document is not None:
        figures = joint_figures(joint, joint_document, findings)
    if document is None or cell_document is None or joint_document is None:
        raise SequenceError(findings.all())
    if sequence is None or cell is None or figures is None:
        raise SequenceError(findings.all())
    given = Input(sequence, document, cell, cell_document, figures, findings)
    return given, (document, cell_document, joint_document)


def _model(
    model: type[Model], path: Path, root: Path, findings: Findings
) -> tuple[Document | None, Model | None]:
    document = read_document(path, root, findings)
    return document, None if document is None else validate(model, document, findings)


def _optional(
    model: type[Model], path: Path | None, root: Path, findings: Findings
) -> tuple[Document | None, Model | None]:
    return (None, None) if path is None else _model(model, path, root, findings)


def _include(
    document: Document | None, key: str, path: Path, root: Path, findings: Findings
) -> Path | None:
    """Return the path of an included file, or None after telling that it leads outside."""
    if document is None or not isinstance(document.tree.data, dict):
        return None
    written = document.tree.data.get(key)
    if not isinstance(written, str):
        return None
    target = path.parent / written
    if Path(written).is_absolute() or not _is_inside(target, root):
        must = "must be a relative path inside the sequences folder"
        findings.add(
            document.finding(
                (key,), "SEQ005", f"{key} is {written!r}", must, "move the file or the path"
            )
        )
        return None
    return target


def _is_inside(target: Path, root: Path) -> bool:
    """Return whether a path stays below a folder; links are followed before judging."""
    try:
        return target.resolve().is_relative_to(root.resolve())
    except (OSError, RuntimeError, ValueError):
        # Links in a ring are a RuntimeError, a NUL in a path is a ValueError.
        return False


def _checked(result: _Result | None, findings: Findings) -> _Result:
    if result is None or findings:
        raise SequenceError(findings.all())
    return result
