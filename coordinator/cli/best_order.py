"""Rehearse a sequence as it stands and in the order with the shortest cycle, and tell both."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from rich.table import Table

from coordinator.best_order.freedom import free_stretches, reordered
from coordinator.best_order.measured import Measured, measure
from coordinator.cli.files import load_capped
from coordinator.cli.output import CAUTION, Exit, Output
from coordinator.cli.rehearsal import Rehearsal, rehearse
from coordinator.cli.simulated import unknown_to_simulation
from coordinator.core.effects import Effect
from coordinator.core.events import Event
from coordinator.core.plan import UNCAPPED, Caps, Plan
from coordinator.core.state import State
from coordinator.prove import Limits, explore
from coordinator.sequence import Loaded
from coordinator.timeline.build import build

TRIES = 20
"""Chosen: so many orders are put to the proof, the shortest first."""
CAUSES = 1
"""Up to how many things go wrong in the proof of the new order."""


@dataclass(frozen=True, slots=True)
class Found:
    """An order, with what it takes."""

    plan: Plan
    orders: Mapping[tuple[int, ...], tuple[int, ...]]
    bound_us: int
    """No order is shorter by the measured durations, from the first step on."""
    is_shortest: bool
    is_proved: bool
    measured: Measured


def show_best_order(
    output: Output,
    path: Path,
    *,
    joint: Path | None = None,
    seed: int,
    caps: Caps = UNCAPPED,
) -> Exit:
    """Rehearse, find the best order, prove it, rehearse it, and print before and after."""
    loaded = load_capped(output, path, joint, caps)
    if unknown := unknown_to_simulation(loaded):
        return output.refuse(unknown)
    if not free_stretches(loaded.plan, loaded.cell):
        output.say(f"{path}: no lane leaves its order free: nothing to choose; `after` does")
        output.document(ok=True, free=0)
        return Exit.GOOD
    result, before = _rehearsed(loaded, seed)
    if result.phase != "complete":
        output.say(f"ended {result.phase}: {result.reason}; only a whole run can be measured")
        output.document(ok=False, ended=result.phase)
        return Exit.HELD
    try:
        found = _found(loaded, before)
    except ImportError:
        return output.refuse("ortools: not installed, must be; pip install 'bothsides[order]'")
    except ValueError as error:
        return output.refuse(str(error))
    again, after = _rehearsed(replace(loaded, plan=found.plan), seed)
    is_good = found.is_proved and again.phase == "complete"
    _say(output, loaded, found, (before, after if again.phase == "complete" else None))
    output.document(**_document(loaded, found, before, after), ok=is_good)
    return Exit.GOOD if is_good else Exit.FINDINGS


def _rehearsed(loaded: Loaded, seed: int) -> tuple[Rehearsal, Measured]:
    decided: list[tuple[Event, tuple[Effect, ...], State]] = []
    result = rehearse(
        loaded,
        seed=seed,
        listeners=(lambda event, effects, state: decided.append((event, effects, state)),),
    )
    return result, measure(loaded.plan, build(loaded.plan, decided))


def _found(loaded: Loaded, before: Measured) -> Found:
    # Imported here: only this needs the solver.
    from coordinator.best_order.solve import find_best_order

    refused: list[Mapping[tuple[int, ...], tuple[int, ...]]] = []
    for _ in range(TRIES):
        best = find_best_order(loaded.plan, loaded.cell, before, refused=refused)
        plan = reordered(loaded.plan, best.orders)
        proof = explore(plan, Limits(CAUSES), properties=loaded.properties)
        if proof.is_proved:
            break
        refused.append(best.orders)
    return Found(plan, best.orders, best.bound_us, best.is_shortest, proof.is_proved, before)


def _say(
    output: Output, loaded: Loaded, found: Found, both: tuple[Measured, Measured | None]
) -> None:
    before, after = both
    output.say(f"SIMULATED: {loaded.plan.name}. {CAUTION}")
    table = Table("side", "as the file stands", "best", box=None, pad_edge=False)
    for nodes, order in found.orders.items():
        side = loaded.plan.parties[loaded.plan.nodes[nodes[0]].lane].name
        for one, other in zip(nodes, order, strict=True):
            table.add_row(side, loaded.plan.nodes[one].name, loaded.plan.nodes[other].name)
            side = ""
    output.people.print(table)
    output.say(f"before: {cycle_s(before):.1f} s from the first step to the end")
    if after is not None:
        output.say(f"after:  {cycle_s(after):.1f} s, rehearsed in the best order")
    words = "and this is one that short" if found.is_shortest else "the solver gave up before it"
    bound = f"bound:  {found.bound_us / 1e6:.1f} s: by these durations no order that may be proved"
    output.say(f"{bound} is shorter, {words}")
    causes = f"{CAUSES} cause" if CAUSES == 1 else f"{CAUSES} causes"
    proved = "proved" if found.is_proved else "NOT proved: do not run it"
    output.say(f"the best order is {proved}, with up to {causes}")
    if after is not None and cycle_s(after) >= cycle_s(before):
        output.say(
            "it gains nothing: ways between steps differ by what comes before; keep the file"
        )


def cycle_s(measured: Measured) -> float:
    """Return how long it took from the first step to the end."""
    return (measured.end_us - measured.begin_us) / 1e6


def _document(loaded: Loaded, found: Found, before: Measured, after: Measured) -> dict[str, Any]:
    names = [node.name for node in loaded.plan.nodes]
    return {
        "free": len(found.orders),
        "before_s": cycle_s(before),
        "after_s": cycle_s(after),
        "bound_s": found.bound_us / 1e6,
        "shortest": found.is_shortest,
        "proved": found.is_proved,
        "orders": [
            {
                "side": loaded.plan.parties[loaded.plan.nodes[nodes[0]].lane].name,
                "before": [names[one] for one in nodes],
                "after": [names[one] for one in order],
            }
            for nodes, order in found.orders.items()
        ],
        "simulated": True,
    }
