"""Tell a person, or a script, what the proof of a sequence saw."""

import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rich.box import SIMPLE
from rich.markup import escape
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn
from rich.table import Table

from coordinator.cli.output import Output
from coordinator.core.plan import Plan
from coordinator.prove import PROPERTIES, Exploration, Limits, Stores, Violation, explore
from coordinator.prove.explore import unreached
from coordinator.prove.monitors import Happened
from coordinator.prove.own import name_of
from coordinator.sequence import Loaded

LINES_MAX = 40
"""Of a counterexample's path; the last ones are shown."""


@dataclass(frozen=True, slots=True)
class Proving:
    """What a proof may spend and what it leaves."""

    limits: Limits
    stores: Stores
    out: Path | None = None
    """A folder for pictures and cases of counterexamples."""


def prove(output: Output, name: str, loaded: Loaded, asked: Proving) -> dict[str, Any]:
    """Explore a plan, print what was found, and return the same as data."""
    limits, stores = asked.limits, asked.stores
    plan, own = loaded.plan, loaded.properties
    began_s = time.monotonic()
    with Progress(
        SpinnerColumn(),
        TextColumn("{task.description}"),
        TimeElapsedColumn(),
        console=output.people,
        transient=True,
        disable=not output.people.is_terminal,
    ) as bar:
        task = bar.add_task(f"proving {name}")

        def tell(states: int, waiting: int) -> None:
            rate = states / max(time.monotonic() - began_s, 0.1)
            words = f"proving {name}: {states} states, {waiting} places, {rate:.0f} states/s"
            bar.update(task, description=words)

        found = explore(plan, limits, tell, stores, own)
    _say(output, name, loaded, found, limits)
    made = to_data(plan, found)
    if asked.out is not None:
        for one, written in zip(found.violations, made["violations"], strict=True):
            written |= _leave(output, asked.out, loaded, one)
    return made


def _promised(loaded: Loaded) -> dict[str, str]:
    return PROPERTIES | {name_of(own): own.text for own in loaded.properties}


def _leave(output: Output, folder: Path, loaded: Loaded, one: Violation) -> dict[str, Any]:
    """Write picture and case of a counterexample; say and return where they are."""
    # Imported here: whoever only proves needs no simulated arms.
    from coordinator.cli.counterexamples import leave

    left = leave(folder, loaded, one, _promised(loaded)[one.property])
    output.say(f"  drawn: {left.picture}")
    if left.case is not None:
        output.say(f"  case: {left.case}, for dryrun --case; {left.words} (simulated)")
    else:
        output.say(f"  {left.words}")
    case = None if left.case is None else str(left.case)
    return {"picture": str(left.picture), "case": case, "shown": left.is_shown}


def to_data(plan: Plan, found: Exploration) -> dict[str, Any]:
    """Return what was seen as a document."""
    return {
        "proved": found.is_proved,
        "complete": found.is_complete,
        "causes": found.causes,
        "states": found.states,
        "stands_for": found.stands_for,
        "transitions": found.transitions,
        "depth": found.depth,
        "violations": [
            {"property": one.property, "text": one.text, "causes": one.causes, "path": one.path}
            for one in found.violations
        ],
        "unreached": unreached(plan, found) if found.is_complete else (),
    }


def _timeline(plan: Plan, course: Sequence[Happened], left_out: int) -> Table:
    """Return the last steps of a counterexample, each in the column of whoever did it."""
    heads = [*(party.name for party in plan.parties), "floor and people"]
    table = Table("", *heads, box=SIMPLE, pad_edge=False)
    for number, one in enumerate(course[left_out:], left_out + 1):
        cells = [""] * len(heads)
        lines = [f"! {one.words}" if one.is_cause else one.words, one.step, one.place]
        cells[one.lane] = escape("\n".join(line for line in lines if line))
        table.add_row(str(number), *cells)
    return table


def _say(output: Output, name: str, loaded: Loaded, found: Exploration, limits: Limits) -> None:
    promised = _promised(loaded)
    seen = (
        f"{found.stands_for} states, of which {found.states} had to be decided by "
        f"{found.transitions} transitions; depth {found.depth}, "
        f"up to {found.causes} cause{'s' if found.causes != 1 else ''}"
        f"{'' if found.is_folded else '; nothing was taken as alike'}"
    )
    for one in found.violations:
        output.say(f"{name}: {one.property}: {one.text}")
        output.say(f"  promised: {promised[one.property]}")
        left_out = len(one.path) - LINES_MAX
        if left_out > 0:
            output.say(f"  ... {left_out} earlier steps, all going well or as told")
        output.people.print(_timeline(loaded.plan, one.course, max(left_out, 0)))
    if found.violations:
        output.say(f"{name}: broken, seen in {seen}")
    elif not found.is_complete:
        output.say(f"{name}: not proved: cut at {limits.states_max} states; {seen}")
    else:
        output.say(f"{name}: proved: {seen}; every property holds")
        if loaded.properties:
            output.say(
                f"  {len(loaded.properties)} of them the file's own; what they speak of was "
                "followed in every combination of the lanes' steps"
            )
        for words in unreached(loaded.plan, found):
            output.say(f"  no interleaving with so few causes reaches {words}")
