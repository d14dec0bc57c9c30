"""Sequence files for tests: the shipped ones, and small ones written into a folder."""

from pathlib import Path
from shutil import copytree

from coordinator.sequence import Diagnostic, SequenceError, load

SEQUENCES = Path(__file__).parents[2] / "sequences"

_HEAD = """sequence: small
text: a small sequence
cell: cells/sill_point.yaml
joint: joints/airlift_16in_8.yaml
begins: joint_open
otherwise: hold
"""


def write_sequence(folder: Path, body: str, *, head: str = _HEAD) -> Path:
    """Write a sequence beside copies of the shipped cells and joints, and return its path."""
    for name in ("cells", "joints"):
        if not (folder / name).exists():
            copytree(SEQUENCES / name, folder / name)
    path = folder / "small.yaml"
    path.write_text(head + body, encoding="utf-8")
    return path


def make_patient(sequence: Path) -> Path:
    """Lengthen lease and window of starts for a run in real time beside other tests; return it.

    A busy machine leaves a process without the processor for a second now and then: arms hold then
    as they must, or start too far apart. Tests that look at something else must not depend on it.
    """
    for path, short, long in (
        *((cell, "lease: 1 s ", "lease: 5 s ") for cell in (sequence.parent / "cells").glob("*")),
        (sequence, "window: 50 ms", "window: 500 ms"),
    ):
        text = path.read_text(encoding="utf-8")
        assert short in text
        path.write_text(text.replace(short, long), encoding="utf-8")
    return sequence


def findings_of(path: Path) -> tuple[Diagnostic, ...]:
    """Return what is told about a sequence; none if it loads."""
    try:
        load(path)
    except SequenceError as error:
        return error.diagnostics
    return ()


def codes_of(path: Path) -> list[str]:
    """Return the codes of what is told about a sequence."""
    return [diagnostic.code for diagnostic in findings_of(path)]
