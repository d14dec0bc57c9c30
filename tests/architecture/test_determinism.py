"""Determinism that no linter sees: no order taken from a set, no time as a float, in the core."""

import ast
from pathlib import Path

import pytest

from tests.support.house import ROOT, place

CORE = sorted(
    path for name in ("core", "lifecycles") for path in (ROOT / "coordinator" / name).glob("*.py")
)
TAKES_ORDER = ("list", "tuple", "iter", "enumerate", "zip", "map", "filter", "reversed")


def _is_set(node: ast.expr, named: set[str]) -> bool:
    match node:
        case ast.Set() | ast.SetComp():
            return True
        case ast.Call(func=ast.Name(id="set" | "frozenset")):
            return True
        case ast.Name(id=name):
            return name in named
        case ast.BinOp(left, ast.BitOr() | ast.BitAnd() | ast.Sub() | ast.BitXor(), right):
            return _is_set(left, named) or _is_set(right, named)
    return False


def _named_sets(tree: ast.AST) -> set[str]:
    named: set[str] = set()
    for node in ast.walk(tree):
        match node:
            case ast.Assign(targets=[ast.Name(id=name)], value=value) if _is_set(value, named):
                named.add(name)
            case ast.AnnAssign(target=ast.Name(id=name), annotation=annotation):
                if ast.unparse(annotation).startswith(("set", "frozenset")):
                    named.add(name)
            case ast.arg(arg=name, annotation=ast.expr() as annotation):
                if ast.unparse(annotation).startswith(("set", "frozenset")):
                    named.add(name)
    return named


def orders_from_sets(tree: ast.AST) -> list[int]:
    """Return the lines in which an order is taken from a set."""
    named = _named_sets(tree)
    lines: list[int] = []
    for node in ast.walk(tree):
        taken: list[ast.expr] = []
        match node:
            case ast.For(iter=iterated) | ast.AsyncFor(iter=iterated):
                taken = [iterated]
            case ast.ListComp() | ast.GeneratorExp() | ast.DictComp():
                taken = [one.iter for one in node.generators]
            case ast.Call(func=ast.Name(id=name), args=args) if name in TAKES_ORDER:
                taken = list(args)
            case ast.Call(func=ast.Attribute(attr="join" | "extend"), args=args):
                taken = list(args)
            case ast.Starred(value=value):
                taken = [value]
        lines += [one.lineno for one in taken if _is_set(one, named)]
    return lines


def _is_time(node: ast.AST) -> bool:
    return any(
        (isinstance(one, ast.Name) and one.id.endswith("_us"))
        or (isinstance(one, ast.Attribute) and one.attr.endswith("_us"))
        for one in ast.walk(node)
    )


def _only_told(tree: ast.AST) -> set[int]:
    """Return the ids of the nodes whose value can only end in a text for people.

    They stand inside the braces of an f-string, or are assigned to a name of which that is true
    wherever it is read.
    """
    told = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.FormattedValue)
        for inner in ast.walk(node)
    }
    read = [one for one in ast.walk(tree) if isinstance(one, ast.Name)]
    for node in ast.walk(tree):
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            name = node.targets[0].id
            uses = [one for one in read if one.id == name and isinstance(one.ctx, ast.Load)]
            if uses and all(id(one) in told for one in uses):
                told |= {id(inner) for inner in ast.walk(node.value)}
    return told


def float_times(tree: ast.AST) -> list[int]:
    """Return the lines in which a time that is reckoned with is, or may become, a float."""
    told = _only_told(tree)
    lines: list[int] = []
    for node in ast.walk(tree):
        match node:
            case (
                ast.AnnAssign(target=ast.Name(id=name), annotation=annotation)
                | ast.arg(arg=name, annotation=ast.expr() as annotation)
            ):
                is_float = name.endswith("_us") and "float" in ast.unparse(annotation)
                if is_float or name.endswith(("_s", "_ms")):
                    lines.append(annotation.lineno)
            case ast.BinOp(left, operator, right) if id(node) not in told:
                floats = any(
                    isinstance(one, ast.Constant) and isinstance(one.value, float)
                    for one in (left, right)
                )
                is_time = _is_time(left) or _is_time(right)
                if is_time and (floats or isinstance(operator, ast.Div)):
                    lines.append(node.lineno)
            case ast.FunctionDef(name=name, returns=ast.expr() as returns):
                if name.endswith("_us") and "float" in ast.unparse(returns):
                    lines.append(node.lineno)
    return lines


def test_the_core_takes_no_order_from_a_set() -> None:
    """The order of a set hangs on hashes, which differ from one process to the next."""
    found = {place(path): orders_from_sets(_parse(path)) for path in CORE}

    assert {name: lines for name, lines in found.items() if lines} == {}
    assert len(CORE) >= 15  # Nothing was quietly left out.


def test_the_core_keeps_time_in_whole_microseconds() -> None:
    """Float time adds up differently in another order; in a text for people it may stand."""
    found = {place(path): float_times(_parse(path)) for path in CORE}

    assert {name: lines for name, lines in found.items() if lines} == {}


@pytest.mark.parametrize(
    ("text", "is_found"),
    [
        ("for a in {1, 2}: pass", True),
        ("x = [a for a in set(b)]", True),
        ("x = tuple(frozenset(b))", True),
        ("x = ','.join({a for a in b})", True),
        ("seen = set()\nfor a in seen | other: pass", True),
        ("def f(known: frozenset[str]): return [*known]", True),
        ("x = sorted(set(b))", False),
        ("x = a in {1, 2}", False),
        ("for a in (1, 2): pass", False),
    ],
)
def test_the_search_for_orders_taken_from_sets_finds_them(text: str, is_found: bool) -> None:
    """A search that finds nothing must be known to find something."""
    assert bool(orders_from_sets(ast.parse(text))) == is_found


@pytest.mark.parametrize(
    ("text", "is_found"),
    [
        ("at_us: float = 0", True),
        ("x = a.at_us / 2", True),
        ("x = 1.5 * at_us", True),
        ("def f(wait_s: float): pass", True),
        ("def next_us() -> float | None: pass", True),
        ("x_s = a.at_us / 1e6\ny = f'{x_s:.1f}'\nz = x_s + 1", True),
        ("x_s = a.at_us / 1e6\ny = f'{x_s:.1f} s'", False),
        ("x = f'{a.at_us / 1000:.1f} ms'", False),
        ("x = a.at_us // 2", False),
        ("at_us: int = 0", False),
    ],
)
def test_the_search_for_float_times_finds_them(text: str, is_found: bool) -> None:
    """A search that finds nothing must be known to find something."""
    assert bool(float_times(ast.parse(text))) == is_found


def _parse(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))
