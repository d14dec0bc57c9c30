"""Tell a person, or a script, what the proof of a sequence saw."""

import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

from coordinator.cli.check.broken import broken_data, show_broken
from coordinator.cli.output import Output
from coordinator.prove import PROPERTIES, Exploration, Limits, Stores, Violation, explore
from coordinator.prove.explore import unreached
from coordinator.prove.own import name_of
from coordinator.sequence import Loaded


@dataclass(frozen=True, slots=True)
class Proving:
    """What a proof may spend and what it leaves."""

    limits: Limits
    stores: Stores
    out: Path | None = None
    """A folder for pictures and cases of counterexamples."""
    taken: set[str] = field(default_factory=set)
    """Names that pictures and cases of this check already have."""


def prove(output: Output, name: str, loaded: Loaded, asked: Proving) -> dict[str, Any]:
    """Explore a plan, print what was found, and return the same as data."""
    limits, stores = asked.limits, asked.stores
    plan, own = loaded.plan, loaded.properties
    began_s = time.monotonic()
    with Progress(
        SpinnerColumn(),
        TextColumn("{task.description}", markup=False),
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
    made = to_data(Path(name), loaded, found)
    if asked.out is not None:
        for one, written in zip(found.violations, made["violations"], strict=True):
            written |= _leave(output, asked, loaded, one)
    return made


def _promised(loaded: Loaded) -> dict[str, str]:
    return PROPERTIES | {name_of(own): own.text for own in loaded.properties}


def _leave(output: Output, asked: Proving, loaded: Loaded, one: Violation) -> dict[str, Any]:
    """Write picture and case of a counterexample; say and return where they are."""
    # Imported here: whoever only proves needs no simulated arms.
    from coordinator.rehearse.counterexamples import leave

    promised = _promised(loaded)[one.property]
    try:
        left = leave(asked.out or Path(), loaded, one, promised, asked.taken)
    except OSError as error:
        output.say(f"  {asked.out}: {error.strerror}; picture and case are not left there")
        return {"picture": None, "case": None, "shown": False}
    again = "" if left.is_new else ", in place of an earlier one"
    output.say(f"  drawn: {left.picture}{again}")
    if left.case is not None:
        output.say(f"  case: {left.case}{again}, for dryrun --case; {left.words} (simulated)")
    else:
        output.say(f"  {left.words}")
    case = None if left.case is None else str(left.case)
    return {"picture": str(left.picture), "case": case, "shown": left.is_shown}


def to_data(path: Path, loaded: Loaded, found: Exploration) -> dict[str, Any]:
    """Return what was seen as a document."""
    return {
        "proved": found.is_proved,
        "complete": found.is_complete,
        "causes": found.causes,
        "states": found.states,
        "ending": found.ending,
        "stands_for": found.stands_for if found.is_complete else None,
        "transitions": found.transitions,
        "depth": found.depth if found.is_complete else None,
        "violations": [broken_data(loaded.plan, one, path) for one in found.violations],
        "properties": _promised(loaded),
        "unreached": unreached(loaded.plan, found) if found.is_complete else (),
    }


def _seen(found: Exploration, limits: Limits) -> str:
    """Return how much was seen, in words that add up."""
    causes = f"up to {found.causes} cause{'s' if found.causes != 1 else ''}"
    by = f"{found.transitions} transitions"
    if not found.is_complete:
        return (
            f"cut at {limits.states_max} states: {found.states} had been found by {by}; of what "
            f"lies behind them nothing is known; {causes}; --states allows more"
        )
    running = found.states - found.ending
    how = "all of them decided"
    if running < found.stands_for:
        how = (
            f"{running} of them decided, the rest behave like these or like those of a file before"
        )
    return (
        f"{found.stands_for} states can come up before an early end, {how}; "
        f"{found.ending} more lead to an early end; {by}, depth {found.depth}, {causes}"
        f"{'' if found.is_folded else '; nothing was taken as alike'}"
    )


def _say(output: Output, name: str, loaded: Loaded, found: Exploration, limits: Limits) -> None:
    promised, seen = _promised(loaded), _seen(found, limits)
    for one in found.violations:
        output.say(f"{name}: {one.property}: {one.text}")
        output.say(f"  promised: {promised[one.property]}")
        show_broken(output, loaded.plan, one)
    if found.violations:
        output.say(f"{name}: broken; {seen}")
    elif not found.is_complete:
        output.say(f"{name}: not proved: {seen}")
    else:
        output.say(f"{name}: proved: {seen}; every property holds")
        if loaded.properties:
            output.say(
                f"  {len(loaded.properties)} of them the file's own; what they speak of was "
                "followed in every combination of the lanes' steps"
            )
        for words in unreached(loaded.plan, found):
            output.say(f"  no interleaving with so few causes reaches {words}")
