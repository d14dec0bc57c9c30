"""Files of a sequence as plain data: read the shipped cell so, and write drawn ones as YAML."""

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import yaml

from coordinator.sequence.form.diagnostics import Findings
from coordinator.sequence.form.source import read_document
from tests.support.sequence_files import SEQUENCES


@dataclass(slots=True)
class Files:
    """The files as plain data."""

    cell: dict[str, Any]
    joint: dict[str, Any]
    sequence: dict[str, Any]
    derived: dict[str, Any] | None = None
    """A file based on the sequence, to be read instead of it."""


@lru_cache(maxsize=1)
def shipped_cell() -> dict[str, Any]:
    """Return the shipped cell as plain data."""
    path = SEQUENCES / "cells" / "sill_point.yaml"
    document = read_document(path, SEQUENCES, Findings())
    assert document is not None
    plain: dict[str, Any] = _plain(document.tree.data)
    return plain


def _plain(data: Any) -> Any:
    if isinstance(data, dict):
        return {key: _plain(value) for key, value in data.items()}
    return [_plain(value) for value in data] if isinstance(data, tuple) else data


def write_files(folder: Path, files: Files) -> Path:
    """Write the files and return the path of the one to be read."""
    for name in ("cells", "joints"):
        (folder / name).mkdir(exist_ok=True)
    path = folder / "drawn.yaml"
    for target, data in (
        (folder / "cells" / "cell.yaml", files.cell),
        (folder / "joints" / "joint.yaml", files.joint),
        (path, files.sequence),
    ):
        target.write_text(_to_yaml(data), encoding="utf-8")
    if files.derived is None:
        return path
    derived = folder / "derived.yaml"
    derived.write_text(_to_yaml(files.derived), encoding="utf-8")
    return derived


class _Dumper(yaml.SafeDumper):
    """Writes shared parts out, since anchors are refused."""

    def ignore_aliases(self, data: Any) -> bool:
        """Never write an alias."""
        return True


def _to_yaml(data: dict[str, Any]) -> str:
    text: str = yaml.dump(data, Dumper=_Dumper, sort_keys=False, allow_unicode=True, width=90)
    return text
