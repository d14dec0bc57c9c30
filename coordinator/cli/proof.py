"""Tell a person, or a script, what the proof of a sequence saw."""

import time
from typing import Any

from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

from coordinator.cli.output import Output
from coordinator.core.plan import Plan
from coordinator.prove import PROPERTIES, Exploration, Limits, Stores, explore
from coordinator.prove.explore import unreached
from coordinator.prove.own import name_of
from coordinator.sequence import Loaded

LINES_MAX = 40
"""Of a counterexample's path; the last ones are shown."""


def prove(
    output: Output, name: str, loaded: Loaded, limits: Limits, stores: Stores
) -> dict[str, Any]:
    """Explore a plan, print what was found, and return the same as data."""
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
    return to_data(plan, found)


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


def _say(output: Output, name: str, loaded: Loaded, found: Exploration, limits: Limits) -> None:
    promised = PROPERTIES | {name_of(own): own.text for own in loaded.properties}
    seen = (
        f"{found.stands_for} states, of which {found.states} had to be decided by "
        f"{found.transitions} transitions; depth {found.depth}, "
        f"up to {found.causes} cause{'s' if found.causes != 1 else ''}"
    )
    for one in found.violations:
        output.say(f"{name}: {one.property}: {one.text}")
        output.say(f"  promised: {promised[one.property]}")
        left_out = len(one.path) - LINES_MAX
        if left_out > 0:
            output.say(f"  ... {left_out} earlier steps, all going well or as told")
        for line in one.path[-LINES_MAX:]:
            output.say(f"  {line}")
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
