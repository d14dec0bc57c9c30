"""The files of a run as they were when it began, out of its journal."""

import tempfile
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from coordinator.cli.hurry import SPEED_FILE
from coordinator.records.journal import Head, PinnedFile
from coordinator.sequence import Loaded, SequenceError, load
from coordinator.sequence.read import root_of


def pin(sequence: Path, loaded: Loaded) -> tuple[PinnedFile, ...]:
    """Return what the files of a sequence say now."""
    root = root_of(sequence)
    return tuple(
        PinnedFile.of(name, (root / name).read_text(encoding="utf-8")) for name, _ in loaded.files
    )


def speed_of(head: Head) -> float:
    """Return how much faster than the wall a run's cell lives."""
    return next((float(file.content) for file in head.files if file.name == SPEED_FILE), 1.0)


def unpack(head: Head, folder: Path) -> Path:
    """Write the files as they were into a folder of the run, and return the sequence among them."""
    for file in head.files:
        path = folder / file.name
        if not path.resolve().is_relative_to(folder.resolve()):
            raise ValueError(f"{file.name}: a pinned file must lie below the folder of the run")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(file.content, encoding="utf-8")
    return folder / head.sequence


def load_pinned(head: Head) -> Loaded | None:
    """Return what a run was made of; None if its files do not load any more."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        try:
            sequence = unpack(head, folder)
            return load(sequence, joint=folder / head.joint if head.joint else None)
        except (SequenceError, ValueError):
            return None


def program_version() -> str:
    """Return the version of this program, empty where it is not installed."""
    try:
        return version("bothsides")
    except PackageNotFoundError:
        return ""
