"""Turn what proofs found into what a SARIF document tells: results, and what was not finished."""

from collections.abc import Iterator, Sequence
from typing import Any

from coordinator.sequence.form.sarif import Breach, Spot, Unfinished

Documents = Sequence[dict[str, Any]]
SPIN = "spin"
SPIN_PROMISES = "SPIN, which judges the plan from a model of its own, finds nothing broken"


def rules_of(proofs: Documents, opinions: Documents) -> dict[str, str]:
    """Return everything that was judged, by its name, whether or not it is broken."""
    rules = {name: text for proof in proofs for name, text in proof["properties"].items()}
    return rules | ({SPIN: SPIN_PROMISES} if opinions else {})


def breaches_of(proofs: Documents, opinions: Documents) -> Iterator[Breach]:
    """Yield each property that is broken, at the last step of its counterexample."""
    for proof in proofs:
        for one in proof["violations"]:
            name, course = one["property"], one["steps"]
            spots = tuple(_spot(step) for step in (*course, *one["broken_by"]) if step["file"])
            at = Spot(one["file"], one["line"], one["column"])
            yield Breach(name, proof["properties"][name], one["text"], at, spots)
    for opinion in opinions:
        if opinion.get("broken"):
            yield Breach(SPIN, SPIN_PROMISES, opinion["broken"], Spot(opinion["file"], 1, 1))


def unfinished_of(proofs: Documents, opinions: Documents) -> Iterator[Unfinished]:
    """Yield each proof that was cut, and each model that could not be judged or left."""
    for proof in proofs:
        if not proof["complete"]:
            yield Unfinished(proof["file"], f"not proved: cut after {proof['states']} states")
    for opinion in opinions:
        if not opinion.get("complete") and not opinion.get("broken"):
            why = opinion.get("failed", "cut by a bound")
            yield Unfinished(opinion["file"], f"not proved by SPIN: {why}")


def _spot(step: dict[str, Any]) -> Spot:
    who = f"{step['lane']} " if step["lane"] else ""
    return Spot(step["file"], step["line"], step["column"], f"{who}{step['words']}: {step['step']}")
