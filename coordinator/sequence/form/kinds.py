"""Tell by its keys what kind a file is: sequence, cell, joint, case, answers, or windows."""

from collections.abc import Mapping
from types import MappingProxyType

from coordinator.sequence.form.tree import Document, Table, Tree

_SIGNS: Mapping[str, str] = MappingProxyType(
    {
        "sequence": "sequence",
        "case": "case",
        "windows": "windows",
        "lanes": "sequence",
        "based_on": "sequence",
        "actions": "cell",
        "sides": "cell",
        "bolts": "joint",
        "tightening": "joint",
        "causes": "case",
        "answers": "answers",
        "acts": "answers",
    }
)
"""A key that only one kind of file has, the surest first; a sequence also names cell and joint."""
NAMED = MappingProxyType(
    {
        "sequence": "a sequence",
        "cell": "a cell",
        "joint": "a joint",
        "case": "a case",
        "answers": "a file of answers and acts",
        "windows": "a file of windows",
    }
)


def kind_of_tree(tree: Tree) -> str:
    """Return the kind of a file; empty if no key tells it."""
    return next((kind for key, kind in _SIGNS.items() if key in _keys(tree)), "")


def sign_of(document: Document, kind: str) -> str:
    """Return the key that tells the kind of a file."""
    return next(key for key in _keys(document.tree) if _SIGNS.get(key) == kind)


def _keys(tree: Tree) -> tuple[str, ...]:
    return tuple(key.text for key in tree.keys) if isinstance(tree, Table) else ()
