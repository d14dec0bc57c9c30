"""The files of a run as they were when it began, out of its journal."""

import json
import tempfile
from dataclasses import asdict, replace
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from coordinator.core.plan import UNCAPPED, Caps
from coordinator.live.hurry import SPEED_FILE
from coordinator.records.journal import Head, PinnedFile
from coordinator.sequence import Loaded, SequenceError, load
from coordinator.sequence.caps import capped
from coordinator.sequence.read import root_of

CAPS_FILE = "caps"
"""Pinned with the files of a capped run: torque and share of speed."""
NOT_WRITTEN = (SPEED_FILE, CAPS_FILE)
"""Pinned, and no files on the disk."""


def pin(sequence: Path, loaded: Loaded) -> tuple[PinnedFile, ...]:
    """Return what the files of a sequence say now, and the caps of the run."""
    root = root_of(sequence)
    files = tuple(
        PinnedFile.of(name, (root / name).read_text(encoding="utf-8")) for name, _ in loaded.files
    )
    if loaded.plan.caps == UNCAPPED:
        return files
    return (*files, PinnedFile.of(CAPS_FILE, json.dumps(asdict(loaded.plan.caps)) + "\n"))


def caps_of(head: Head) -> Caps:
    """Return what a run was capped to."""
    for file in head.files:
        if file.name == CAPS_FILE:
            return Caps(**json.loads(file.content))
    return UNCAPPED


def as_begun(loaded: Loaded, head: Head) -> Loaded:
    """Return a sequence under the caps of its run."""
    return replace(loaded, plan=capped(loaded.plan, caps_of(head)))


def speed_of(head: Head) -> float:
    """Return how much faster than the wall a run's cell lives."""
    return next((float(file.content) for file in head.files if file.name == SPEED_FILE), 1.0)


def unpack(head: Head, folder: Path) -> Path:
    """Write the files as they were into a folder of the run, and return the sequence among them."""
    for file in head.files:
        if not (folder / file.name).resolve().is_relative_to(folder.resolve()):
            raise ValueError(f"{file.name}: a pinned file must lie below the folder of the run")
    for file in head.files:
        path = folder / file.name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(file.content, encoding="utf-8")
    return folder / head.sequence


def load_pinned(head: Head) -> Loaded | None:
    """Return what a run was made of; None if its files do not load any more."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        try:
            sequence = unpack(head, folder)
            loaded = load(sequence, joint=folder / head.joint if head.joint else None)
            return as_begun(loaded, head)
        except (SequenceError, ValueError):
            return None


def program_version() -> str:
    """Return the version of this program, empty where it is not installed."""
    try:
        return version("bothsides")
    except PackageNotFoundError:
        return ""
