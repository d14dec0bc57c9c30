"""Read the files that make up a sequence, and tell everything that is wrong with their form.

A sequence is a file of its own, or a small one that is based on another and has its own joint,
cell or values.

Invariants: SQ3, no file of a sequence is read outside its folder; SQ4, every finding of every file
is told at once, and the same one only once.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from coordinator.sequence.beyond import Incomplete, tell_beyond
from coordinator.sequence.compiler.expand import Input
from coordinator.sequence.compiler.joint import JointFigures, joint_figures
from coordinator.sequence.compiler.references import Bound
from coordinator.sequence.form.diagnostics import Findings, SequenceError, choose_from
from coordinator.sequence.form.source import read_document
from coordinator.sequence.form.tree import Document, Trail
from coordinator.sequence.models.cell_model import CellModel
from coordinator.sequence.models.joint_model import JointModel
from coordinator.sequence.models.sequence_model import DerivedModel, SequenceModel
from coordinator.sequence.models.validate import Model, has_other_kind, validate
from coordinator.sequence.rules.declared import check_cell


@dataclass(frozen=True, slots=True)
class _Written:
    """One file as far as it could be read."""

    path: Path
    document: Document | None

    def word(self, key: str) -> str | None:
        """Return what the file says under a key, if it is text."""
        # Read from the tree, so that cell and joint are judged beside a wrong sequence.
        data = None if self.document is None else self.document.tree.data
        found = data.get(key) if isinstance(data, dict) else None
        return found if isinstance(found, str) else None

    @property
    def is_derived(self) -> bool:
        """Whether the file is based on another."""
        data = None if self.document is None else self.document.tree.data
        return isinstance(data, dict) and "based_on" in data


def root_of(path: Path) -> Path:
    """Return the folder that the paths of a file may not leave.

    It is the nearest folder above the file that holds `cells`, or else the file's own folder.
    """
    folder = path.absolute().parent
    return next((one for one in (folder, *folder.parents) if (one / "cells").is_dir()), folder)


def read_files(path: Path, joint_path: Path | None) -> tuple[Input, tuple[Document, ...]]:
    """Return what a sequence is made of, and its files: itself, its base, the cell, the joint.

    Args:
        path: The sequence file.
        joint_path: A joint instead of the one that the file names.

    Raises:
        SequenceError: With every finding.
    """
    return _Reader(root_of(path)).read(path, joint_path)


def read_model(
    model: type[Model], path: Path, root: Path, findings: Findings
) -> tuple[Document | None, Model | None]:
    """Return a file and its model, each None after telling `findings` why not."""
    document = read_document(path, root, findings)
    return document, None if document is None else validate(model, document, findings)


def cell_at(
    path: Path | None, root: Path, findings: Findings
) -> tuple[Document | None, CellModel | None]:
    """Return a cell file and its model, judged; each None after telling `findings` why not."""
    if path is None:
        return None, None
    document, cell = read_model(CellModel, path, root, findings)
    if cell is not None and document is not None:
        check_cell(cell, document, findings)
    return document, cell


def joint_at(
    path: Path | None, root: Path, findings: Findings
) -> tuple[Document | None, JointFigures | None]:
    """Return a joint file and its figures, judged; each None after telling `findings` why not."""
    if path is None:
        return None, None
    document, model = read_model(JointModel, path, root, findings)
    if model is None or document is None:
        return document, None
    return document, joint_figures(model, document, findings)


class _Reader:
    def __init__(self, root: Path) -> None:
        self._root = root
        self._findings = Findings()

    def read(self, path: Path, joint_path: Path | None) -> tuple[Input, tuple[Document, ...]]:
        """Return the input of the compiler and the documents, or raise every finding."""
        findings = self._findings
        top = _Written(path, read_document(path, self._root, findings))
        if top.document is not None and has_other_kind(SequenceModel, top.document):
            self._validated(SequenceModel, top)
            raise SequenceError(findings.all())
        base = self._base(top) if top.is_derived else top
        derived = self._validated(DerivedModel, top) if base is not top else None
        sequence = self._validated(SequenceModel, base)
        cell_document, cell = cell_at(self._include("cell", top, base), self._root, findings)
        joint_path = joint_path or self._include("joint", top, base)
        joint_document, joint = joint_at(joint_path, self._root, findings)
        if (
            (sequence is None and base.document is not None)
            and (base is top or derived is not None)
            and (cell is not None and cell_document is not None)
            and joint is not None
        ):
            own = {} if derived is None else derived.values
            tell_beyond(Incomplete(base.document, cell, cell_document, joint, own), findings)
        if sequence is None or base.document is None or (base is not top and derived is None):
            raise SequenceError(findings.all())
        if cell is None or cell_document is None or joint is None or joint_document is None:
            raise SequenceError(findings.all())
        if derived is not None:
            self._check_values(sequence, derived, top)
            named = {"sequence": derived.sequence, "text": derived.text}
            sequence = sequence.model_copy(update=named)
        values = _values(sequence, derived, top.document)
        given = Input(sequence, base.document, cell, cell_document, joint, findings, values)
        written = dict.fromkeys((top.path, base.path))
        first = [one for one in (top.document, base.document)[: len(written)] if one is not None]
        return given, (*first, cell_document, joint_document)

    def _base(self, top: _Written) -> _Written:
        """Return the file that another is based on; tells if it is itself based on one."""
        path = self._inside("based_on", top)
        if path is None:
            return _Written(top.path, None)
        base = _Written(path, read_document(path, self._root, self._findings))
        if not base.is_derived:
            return base
        what = f"{top.word('based_on')!r} is itself based on another file"
        must, do = "must be a whole sequence", "name the one that it is based on"
        self._tell((top.document, ("based_on",)), "SEQ058", what, must, do)
        return _Written(path, None)

    def _validated(self, model: type[Model], written: _Written) -> Model | None:
        if written.document is None:
            return None
        return validate(model, written.document, self._findings)

    def _include(self, key: str, top: _Written, base: _Written) -> Path | None:
        """Return the path under a key of the file itself or else of the one it is based on."""
        return self._inside(key, top if top.word(key) is not None else base)

    def _inside(self, key: str, written: _Written) -> Path | None:
        """Return a path that a file names, or None after telling that it leads outside."""
        word = written.word(key)
        if word is None:
            return None
        target = written.path.parent / word
        at = (written.document, (key,))
        if not Path(word).is_absolute() and _is_inside(target, self._root):
            if _is_there(target):
                return target
            others = [
                f"{path.parent}/{one}" if (path := Path(word)).parent.name else one
                for one in _beside(target)
            ]
            _, do = choose_from(word, others, "files")
            what, must = f"{key} is {word!r}, which is not there", "must be a file"
            self._tell(at, "SEQ001", what, must, do)
            return None
        must = "must be a relative path inside the sequences folder"
        do = "move the file or the path"
        self._tell(at, "SEQ005", f"{key} is {word!r}", must, do)
        return None

    def _check_values(self, sequence: SequenceModel, derived: DerivedModel, top: _Written) -> None:
        for name in derived.values:
            if name not in sequence.values:
                must, do = choose_from(name, sequence.values, "values of the file it is based on")
                at = (top.document, ("values", name))
                self._tell(at, "SEQ015", f"value is {name!r}", must, do)

    def _tell(
        self, at: tuple[Document | None, Trail], code: str, what: str, must: str, do: str
    ) -> None:
        document, trail = at
        if document is not None:
            self._findings.add(document.finding(trail, code, what, must, do, key=code == "SEQ015"))


def _is_inside(target: Path, root: Path) -> bool:
    """Return whether a path stays below a folder; links are followed before judging."""
    try:
        return target.resolve().is_relative_to(root.resolve())
    except (OSError, RuntimeError, ValueError):
        # Links in a ring are a RuntimeError, a NUL in a path is a ValueError.
        return False


def _is_there(target: Path) -> bool:
    try:
        return target.exists()
    except OSError:
        return False


def _beside(target: Path) -> list[str]:
    """Return the names of the files in the folder in which one was looked for."""
    try:
        return sorted(one.name for one in target.parent.iterdir() if one.suffix == target.suffix)
    except OSError:
        return []


def _values(
    sequence: SequenceModel, derived: DerivedModel | None, document: Document | None
) -> Mapping[str, Bound]:
    """Return the values of a sequence, those of the file based on it first."""
    values = {name: Bound(one, None, ("values", name)) for name, one in sequence.values.items()}
    for name, one in (derived.values if derived else {}).items():
        values[name] = Bound(one, None, ("values", name), document)
    return values
