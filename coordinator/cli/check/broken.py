"""Tell how a property comes to be broken, for people and for scripts, and how it stands then."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from rich.box import SIMPLE
from rich.markup import escape
from rich.table import Table

from coordinator.cli.output import Output
from coordinator.core.plan import Plan
from coordinator.draw.rows import Gap, rows_of
from coordinator.prove.monitors import Happened, Violation
from coordinator.rehearse.standing import FLOOR, heading_of, standings_of
from coordinator.sequence.read import root_of

BREAKS = "breaks it: "


def show_broken(output: Output, plan: Plan, found: Violation) -> None:
    """Print the course of a counterexample, what breaks the property, and how it stands then."""
    if found.course or found.broken_by:
        output.people.print(_timeline(plan, found))
    standings = standings_of(plan, found)
    if standings:
        output.say(f"  {heading_of(found)}:")
    for one in standings:
        place = f" ({one.place})" if one.place else ""
        at = f"at {one.step}{place}, " if one.step else ""
        output.say(f"    {one.who}: {at}{one.state}")
        for waits in one.waits:
            output.say(f"      {waits if one.who == FLOOR else f'waits for {waits}'}")


def _timeline(plan: Plan, found: Violation) -> Table:
    """Return the steps of a counterexample, each in the column of whoever did it."""
    parties = [party.name for party in plan.parties]
    heads = [*parties, FLOOR]
    table = Table("", *heads, box=SIMPLE, pad_edge=False)
    for row in rows_of(found.course, parties):
        if isinstance(row, Gap):
            words = f"{row.first} to {row.last}: {row.words}"
            table.add_row("...", *("" for _ in parties), words)
        else:
            table.add_row(str(row.number), *_cells(row.one, len(heads), ""))
    for one in found.broken_by:
        table.add_row("", *_cells(one, len(heads), BREAKS))
    return table


def _cells(one: Happened, count: int, before: str) -> list[str]:
    cells = [""] * count
    words = f"! {one.words}" if one.is_cause else f"{before}{one.words}"
    cells[one.lane] = escape("\n".join(line for line in (words, one.step, one.place) if line))
    return cells


def broken_data(plan: Plan, found: Violation, path: Path) -> dict[str, Any]:
    """Return a counterexample as a document, every step with its place.

    Args:
        plan: The plan.
        found: The counterexample.
        path: The sequence; where nothing of the course has a place, it is told at its beginning.
    """
    end, root, last = found.end, root_of(path), last_place(plan, found)
    at = {"file": str(path), "line": 1, "column": 1} if last < 0 else _place(plan, last, root)
    return {
        "property": found.property,
        "text": found.text,
        **at,
        "causes": found.causes,
        "path": found.path,
        "steps": [_step(plan, one, root) for one in found.course],
        "broken_by": [_step(plan, one, root) for one in found.broken_by],
        "end": None
        if end is None
        else {
            "phase": end.phase,
            "reason": end.reason,
            "stands": [
                {
                    "who": one.who,
                    "state": one.state,
                    "step": one.step,
                    **_place(plan, one.node, root),
                    "waits": one.waits,
                }
                for one in standings_of(plan, found)
            ],
            "after_more_steps": found.later,
            "can_still_happen": found.still,
        },
    }


def last_place(plan: Plan, found: Violation) -> int:
    """Return the last step of a counterexample that has a place, -1 if none has."""
    nodes = [one.node for one in (*found.broken_by, *reversed(found.course))]
    return next(_placed(plan, nodes), -1)


def _placed(plan: Plan, nodes: list[int]) -> Iterator[int]:
    return (node for node in nodes if node >= 0 and plan.nodes[node].origin.file)


def _step(plan: Plan, one: Happened, root: Path) -> dict[str, Any]:
    lane = plan.parties[one.lane].name if one.lane >= 0 else None
    return {
        "lane": lane,
        "words": one.words,
        "step": one.step,
        **_place(plan, one.node, root),
        "is_cause": one.is_cause,
    }


def _place(plan: Plan, node: int, root: Path) -> dict[str, Any]:
    origin = plan.nodes[node].origin if node >= 0 else None
    if origin is None or not origin.file:
        return {"file": None, "line": None, "column": None}
    return {"file": str(root / origin.file), "line": origin.line, "column": origin.column}
