"""Copies of the shipped files with one thing altered."""

from pathlib import Path
from shutil import copytree, ignore_patterns

from tests.support.sequence_files import SEQUENCES

CELL, JOINT, MAKEUP = "cells/sill_point.yaml", "joints/airlift_16in_8.yaml", "makeup.yaml"


def copied(folder: Path) -> Path:
    """Copy the shipped files into a folder."""
    target = folder / "changed"
    copytree(SEQUENCES, target, ignore=ignore_patterns("broken", "schema", "cases", "*.md"))
    return target


def altered(folder: Path, file: str, old: str, new: str) -> Path:
    """Copy the shipped files, put `new` for the first `old` in one of them."""
    target = copied(folder)
    text = (target / file).read_text(encoding="utf-8")
    assert old in text
    (target / file).write_text(text.replace(old, new, 1), encoding="utf-8")
    return target
