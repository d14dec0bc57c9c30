"""Leave out one thing of a sequence after the other, and say what depends on each.

Each barrier, exception and interlock is taken out wherever it is named, each timeout of a barrier
and each bound of attempts is lifted. What is left is judged by every rule and then proved. If
neither finds anything, nothing that is written down depends on what was left out: either it is not
needed, or what it is needed for has not been promised.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from functools import partial
from io import StringIO
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from ruamel.yaml import YAML

from coordinator.prove import Limits, Stores, explore
from coordinator.sequence import Loaded, SequenceError, load
from coordinator.sequence.read import root_of

Data = Any
Edit = Callable[[Data, Data], None]
"""Takes something out of a sequence and its cell."""
UNBOUNDED = 1_000_000


@dataclass(frozen=True, slots=True)
class Dropped:
    """One thing left out, and what that breaks."""

    what: str
    """barrier, timeout, bound, exception or interlock."""
    name: str
    found: tuple[str, ...]
    """Codes of rules, or properties; empty where nothing depends on it."""
    is_complete: bool = True
    """False where the proof was cut before anything was found."""


def leave_out(path: Path, loaded: Loaded, limits: Limits, today: date | None) -> Iterator[Dropped]:
    """Yield each thing left out in turn, with what breaks without it."""
    root = root_of(path)
    *own, (joint, _) = loaded.files
    texts = {name: (root / name).read_text(encoding="utf-8") for name, _ in own}
    whole = next(name for name in texts if "lanes" in _read(texts[name]))
    cell = own[-1][0]
    stores = Stores()
    for what, name, edit in edits(_read(texts[whole]), _read(texts[cell])):
        sequence, cell_data = _read(texts[whole]), _read(texts[cell])
        edit(sequence, cell_data)
        with TemporaryDirectory() as folder:
            written = {**texts, whole: _text(sequence), cell: _text(cell_data)}
            for place, text in written.items():
                (Path(folder) / place).parent.mkdir(parents=True, exist_ok=True)
                (Path(folder) / place).write_text(text, encoding="utf-8")
            (Path(folder) / "cells").mkdir(exist_ok=True)
            files = Path(folder) / own[0][0], root / joint
            yield _judged(what, name, files, (limits, stores), today)


def _judged(
    what: str,
    name: str,
    files: tuple[Path, Path],
    spending: tuple[Limits, Stores],
    today: date | None,
) -> Dropped:
    path, joint = files
    try:
        loaded = load(path, joint=joint, today=today)
    except SequenceError as error:
        return Dropped(what, name, tuple(dict.fromkeys(one.code for one in error.diagnostics)))
    limits, stores = spending
    found = explore(loaded.plan, limits, stores=stores, properties=loaded.properties)
    broken = tuple(one.property for one in found.violations)
    return Dropped(what, name, broken, found.is_complete)


def edits(sequence: Data, cell: Data) -> Iterator[tuple[str, str, Edit]]:
    """Yield what can be left out of a sequence and its cell: kind, name, and how."""
    for name in sequence.get("barriers", {}):
        yield "barrier", name, partial(_without_barrier, name)
        yield "timeout", name, partial(_without_timeout, name)
    for policy, rules in sequence.get("policies", {}).items():
        for fault, rule in rules.items():
            if rule.get("attempts", 1) > 1:
                yield "bound", f"{policy}.{fault}", partial(_unbounded, policy, fault)
    for name in sequence.get("exceptions", {}):
        yield "exception", name, partial(_without_exception, name)
    for name in cell.get("interlocks", {}):
        yield "interlock", name, partial(_without_interlock, name)


def _unbounded(policy: str, fault: str, sequence: Data, _: Data) -> None:
    sequence["policies"][policy][fault]["attempts"] = UNBOUNDED


def _without_timeout(name: str, sequence: Data, _: Data) -> None:
    sequence["barriers"][name].pop("timeout", None)


def _without_barrier(name: str, sequence: Data, _: Data) -> None:
    del sequence["barriers"][name]
    for steps in _lists(sequence):
        steps[:] = [step for step in steps if step.get("barrier") != name]


def _without_exception(name: str, sequence: Data, _: Data) -> None:
    del sequence["exceptions"][name]
    for steps in _lists(sequence):
        for step in steps:
            kept = [one for one in step.get("exceptions", ()) if one != name]
            step.pop("exceptions", None)
            if kept:
                step["exceptions"] = kept


def _without_interlock(name: str, sequence: Data, cell: Data) -> None:
    del cell["interlocks"][name]
    for action in cell["actions"].values():
        for key in ("brings", "clears"):
            if name in action.get(key, ()):
                action[key] = [one for one in action[key] if one != name]
    exceptions = sequence.get("exceptions", {})
    for one in [one for one, model in exceptions.items() if model.get("interlock") == name]:
        _without_exception(one, sequence, cell)
    for steps in _lists(sequence):
        for step in steps:
            if name in step.get("permissives", ()):
                step["permissives"] = [one for one in step["permissives"] if one != name]


def _lists(sequence: Data) -> Iterator[list[Data]]:
    """Yield every list of steps, those of loops too."""
    waiting = [*sequence["lanes"].values()]
    waiting += [block["steps"] for block in sequence.get("blocks", {}).values()]
    while waiting:
        steps = waiting.pop()
        yield steps
        waiting += [step["steps"] for step in steps if "steps" in step]


def _read(text: str) -> Data:
    return YAML().load(text)


def _text(data: Data) -> str:
    out = StringIO()
    writer = YAML()
    writer.width = 1_000
    writer.dump(data, out)
    return out.getvalue()
