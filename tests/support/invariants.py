"""Read from the code which module upholds each invariant, who judges it, and where it is cited.

Nothing is written down twice: a module upholds what the `Invariants:` section of its docstring
lists, an oracle judges what it reports, a test what its docstring names.
"""

import ast
import re
import tokenize
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path

from coordinator.invariants import INVARIANTS
from tests.support.house import ROOT, SOURCES, functions, place, python_files
from tests.support.promela.export import SHARED

CODE = r"[A-Z]{1,2}\d{1,2}"
_CODES = rf"{CODE}(?:(?:, | and |, and ){CODE})*"
_SECTION = re.compile(r"^Invariants: (.*?)(?=\n\n|\n[A-Z][a-z]+:|\Z)", re.MULTILINE | re.DOTALL)
_ENTRY = re.compile(rf"(?:^|; )({CODE}), (.*?)(?=; {CODE}, |\.?$)")
_AT_THE_START = re.compile(rf"^({_CODES})(?=[:.]|, | over | against | also | with | end | begins )")
_IN_BRACKETS = re.compile(rf"\(({_CODES})\)")


def sections() -> Mapping[str, list[tuple[str, str]]]:
    """Return for each module what its docstring lists as invariants, as (code, text)."""
    return {name: _ENTRY.findall(text) for name, text in _listed().items()}


def without_codes() -> list[str]:
    """Return the modules whose docstring has invariants, or words between them, without a code."""
    return [
        name
        for name, text in _listed().items()
        if "; ".join(f"{code}, {words}" for code, words in _ENTRY.findall(text)) + "." != text
    ]


def upheld_in(code: str) -> list[str]:
    """Return the modules, or the author's file, that uphold an invariant."""
    own = INVARIANTS[code].upheld
    found = [name for name, entries in sections().items() if code in dict(entries)]
    return found + ([own] if own else [])


def judges_of(code: str) -> list[str]:
    """Return who would see an invariant broken, in words."""
    name = INVARIANTS[code].property
    judges = ["oracle"] if code in _reported() else []
    if name and name in _judged_by_the_proof():
        judges.append(f"proof (`{name}`)")
    if name in SHARED:
        judges.append("SPIN")
    judges += [f"check in `{module}`" for module in _checked().get(code, ())]
    return judges + [f"`{module}`" for module in _tested().get(code, ())]


def reported() -> set[str]:
    """Return the codes that oracles report."""
    return _reported()


def required() -> Iterator[tuple[str, str]]:
    """Yield each check that stays on in the code, as (place, code)."""
    for path in python_files(*SOURCES):
        for call in _calls(path, "require"):
            yield f"{place(path)}:{call.lineno}", _text(call.args[1])


def cited() -> Iterator[tuple[str, str]]:
    """Yield each code that a comment, a docstring or a guide cites, as (place, code)."""
    for path in python_files(*SOURCES, "tests"):
        for where, text in (*_docstrings(path), *_comments(path)):
            yield from ((f"{place(path)}:{where}", code) for code in codes_in(text))
    for path in sorted((ROOT / "coordinator").rglob("README.md")):
        for code in codes_in(path.read_text(encoding="utf-8")):
            yield place(path), code


def codes_in(text: str) -> list[str]:
    """Return the codes that a text cites: at its start, or in brackets."""
    found = _AT_THE_START.findall(text) + _IN_BRACKETS.findall(text)
    return [code for codes in found for code in re.findall(CODE, codes)]


@cache
def _listed() -> Mapping[str, str]:
    """Return the section of invariants of each module that has one, on one line."""
    found = {}
    for path in python_files(*SOURCES, "tests/support/promela"):
        section = _SECTION.search(ast.get_docstring(_tree(path)) or "")
        if section is not None:
            found[place(path)] = " ".join(section[1].split())
    return found


@cache
def _checked() -> Mapping[str, list[str]]:
    """Return the modules that check each code while they run; a breach ends in an error."""
    found: dict[str, dict[str, None]] = {}
    for where, code in required():
        found.setdefault(code, {})[Path(where.partition(":")[0]).name] = None
    return {code: list(names) for code, names in found.items()}


@cache
def _reported() -> set[str]:
    """Return the codes that the campaign names, to report that they are broken."""
    files = python_files("coordinator/campaign")
    texts = {_text(node) for path in files for node in ast.walk(_tree(path))}
    return {one for one in texts if re.fullmatch(CODE, one)}


@cache
def _judged_by_the_proof() -> set[str]:
    """Return every property that the code of the proof names."""
    return {
        _text(node)
        for path in python_files("coordinator/prove")
        for node in ast.walk(_tree(path))
        if isinstance(node, ast.Constant)
    }


@cache
def _tested() -> Mapping[str, list[str]]:
    """Return the test modules with a test whose docstring names each code."""
    found: dict[str, dict[str, None]] = {}
    for path in python_files("tests"):
        for test in functions(_tree(path)) if path.name.startswith("test_") else ():
            if test.name.startswith("test_"):
                for code in codes_in(ast.get_docstring(test) or ""):
                    found.setdefault(code, {})[path.name] = None
    return {code: list(names) for code, names in found.items()}


@cache
def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def _calls(path: Path, name: str) -> Iterator[ast.Call]:
    for node in ast.walk(_tree(path)):
        if isinstance(node, ast.Call):
            called = node.func
            if name == getattr(called, "attr", getattr(called, "id", "")):
                yield node


def _text(node: ast.AST) -> str:
    value = node.value if isinstance(node, ast.Constant) else ""
    return value if isinstance(value, str) else ""


def _docstrings(path: Path) -> Iterator[tuple[int, str]]:
    for node in ast.walk(_tree(path)):
        if isinstance(node, ast.Expr) and _text(node.value):
            yield node.lineno, _text(node.value)


def _comments(path: Path) -> Iterator[tuple[int, str]]:
    with path.open("rb") as file:
        for token in tokenize.tokenize(file.readline):
            if token.type == tokenize.COMMENT:
                yield token.start[0], token.string.lstrip("#: ")
