"""Tell by its keys what kind a file is: sequence, cell, joint, case, answers, or windows."""

from collections.abc import Mapping

from coordinator.packaged import read_tables
from coordinator.sequence.form.tree import Document, Table, Tree

_WORDS = read_tables("coordinator.sequence.form", "words")
_SIGNS: Mapping[str, str] = _WORDS["signs"]
NAMED: Mapping[str, str] = _WORDS["kinds"]
"""What each kind of file is called in a message."""


def kind_of_tree(tree: Tree) -> str:
    """Return the kind of a file; empty if no key tells it."""
    return next((kind for key, kind in _SIGNS.items() if key in _keys(tree)), "")


def sign_of(document: Document, kind: str) -> str:
    """Return the key that tells the kind of a file."""
    return next(key for key in _keys(document.tree) if _SIGNS.get(key) == kind)


def _keys(tree: Tree) -> tuple[str, ...]:
    return tuple(key.text for key in tree.keys) if isinstance(tree, Table) else ()
