"""Rehearse a sequence as it stands and in the order with the shortest cycle, and tell both."""

from dataclasses import replace
from pathlib import Path
from typing import Any

from rich.table import Table

from coordinator.best_order.found import Found, Shown, Trials
from coordinator.best_order.freedom import free_stretches
from coordinator.best_order.measured import Measured, measure
from coordinator.cautions import CAUTION
from coordinator.cli.asked import DryRunAsked
from coordinator.cli.files import load_capped
from coordinator.cli.output import Exit, Output
from coordinator.core.effects import Effect
from coordinator.core.events import Event
from coordinator.core.plan import Mode, Plan
from coordinator.core.state import State
from coordinator.extras import missing_extra
from coordinator.prove import Limits, explore
from coordinator.rehearse.rehearsal import Rehearsal, rehearse
from coordinator.rehearse.simulated import unknown_to_simulation
from coordinator.sequence import Loaded
from coordinator.timeline.build import build

CAUSES = 1
"""Up to how many things go wrong in the proof of the new order."""


def show_best_order(output: Output, path: Path, asked: DryRunAsked) -> Exit:
    """Rehearse, find the best order, prove it, rehearse it, and print before and after."""
    if asked.case or asked.answer or asked.out or asked.mode is not Mode.AUTOMATIC:
        text = "--best-order measures a run in which nothing goes wrong; leave out --case, "
        return output.refuse(f"{text}--answer, --mode and --out")
    loaded, seed = load_capped(output, path, asked.joint, asked.caps), asked.seed
    if unknown := unknown_to_simulation(loaded):
        return output.refuse(unknown)
    if not free_stretches(loaded.plan, loaded.cell):
        output.say(f"{path}: no lane leaves its order free: nothing to choose; `after` does")
        output.document(ok=True, free=0)
        return Exit.GOOD
    if missing := missing_extra("order", "--best-order"):
        return output.refuse(missing)
    result, before = _rehearsed(loaded, seed)
    if result.phase != "complete":
        output.error(f"ended {result.phase}: {result.reason}; only a whole run can be measured")
        return Exit.HELD
    try:
        found = _found(loaded, before, seed)
    except ValueError as error:
        return output.refuse(str(error))
    _say(output, loaded, found, before)
    output.document(**_document(loaded, found, before), ok=found.is_proved)
    return Exit.GOOD if found.is_proved else Exit.FINDINGS


def _rehearsed(loaded: Loaded, seed: int) -> tuple[Rehearsal, Measured]:
    decided: list[tuple[Event, tuple[Effect, ...], State]] = []
    result = rehearse(
        loaded,
        seed=seed,
        listeners=(lambda event, effects, state: decided.append((event, effects, state)),),
    )
    return result, measure(loaded.plan, build(loaded.plan, decided))


def _found(loaded: Loaded, before: Measured, seed: int) -> Found:
    # Imported here: only this needs the solver.
    from coordinator.best_order.search import search

    def rehearse_order(plan: Plan) -> Measured | None:
        result, measured = _rehearsed(replace(loaded, plan=plan), seed)
        return measured if result.phase == "complete" else None

    def prove(plan: Plan) -> bool:
        return explore(plan, Limits(CAUSES), properties=loaded.properties).is_proved

    return search(loaded.plan, loaded.cell, before, Trials(rehearse_order, prove))


def _say(output: Output, loaded: Loaded, found: Found, before: Measured) -> None:
    output.say(f"SIMULATED: {loaded.plan.name}. {CAUTION}")
    table = Table("side", "as the file stands", "best", box=None, pad_edge=False)
    for nodes, order in found.orders.items():
        side = loaded.plan.parties[loaded.plan.nodes[nodes[0]].lane].name
        for one, other in zip(nodes, order, strict=True):
            table.add_row(side, loaded.plan.nodes[one].name, loaded.plan.nodes[other].name)
            side = ""
    output.people.print(table)
    output.say(f"before: {cycle_s(before):.1f} s from the first step to the end")
    causes = f"{CAUSES} cause" if CAUSES == 1 else f"{CAUSES} causes"
    if not found.is_proved:
        output.say(f"none of {found.rehearsed} orders rehearsed is proved with up to {causes}")
        return
    output.say(f"after:  {cycle_s(found.measured):.1f} s, rehearsed in the best order")
    output.say(f"bound:  {found.bound_us / 1e6:.1f} s: {_bound_words(found)}")
    output.say(f"the best order is proved, with up to {causes}")
    if found.plan == loaded.plan or found.measured.cycle_us >= before.cycle_us:
        output.say("it gains nothing: keep the file")


def _bound_words(found: Found) -> str:
    """Return what the bound is worth: no more than was rehearsed."""
    count = found.rehearsed
    if found.shown is Shown.EVERY:
        return f"all {count} orders that are free were rehearsed; none that is proved is shorter"
    by = f"by the shortest that each step took after the one before it in {count} rehearsals"
    if found.shown is Shown.NOT:
        return f"{by}, no order is shorter; whether one lies between is not shown"
    return f"{by}, no order that may be proved is shorter; a step may vary by more than that"


def cycle_s(measured: Measured) -> float:
    """Return how long it took from the first step to the end."""
    return measured.cycle_us / 1e6


def _document(loaded: Loaded, found: Found, before: Measured) -> dict[str, Any]:
    names = [node.name for node in loaded.plan.nodes]
    return {
        "free": len(found.orders),
        "before_s": cycle_s(before),
        "after_s": cycle_s(found.measured) if found.is_proved else None,
        "bound_s": found.bound_us / 1e6 if found.is_proved else None,
        "shortest": found.is_shortest,
        "shown": found.shown,
        "rehearsed": found.rehearsed,
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
