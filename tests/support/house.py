"""Where the shipped files are, for the tests that read them instead of running them."""

import ast
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
SOURCES = ("coordinator", "sim_arms")
FOLDERS = (*SOURCES, "sequences", "tests", ".ci")
TEXT_ENDINGS = (".py", ".md", ".yaml", ".toml", ".sh", ".typed", "")


def python_files(*folders: str) -> list[Path]:
    """Return every Python file below these folders of the house, sorted."""
    return sorted(path for folder in folders for path in (ROOT / folder).rglob("*.py"))


NOT_OURS = {"__pycache__", "node_modules"}
"""Folders that tools leave beside the sources."""


def shipped_files() -> list[Path]:
    """Return every text file that is shipped, sorted."""
    below = [path for folder in FOLDERS for path in (ROOT / folder).rglob("*") if path.is_file()]
    top = [ROOT / name for name in ("README.md", "DEVELOPERS.md", "pyproject.toml")]
    return sorted(
        path
        for path in (*below, *top)
        if path.suffix in TEXT_ENDINGS and not NOT_OURS.intersection(path.parts)
    )


def place(path: Path) -> str:
    """Return a path as people write it in this house."""
    return path.relative_to(ROOT).as_posix()


def functions(tree: ast.AST) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    """Yield every function in a parsed file."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node
