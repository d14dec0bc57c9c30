"""Turn what proofs found into what a SARIF document tells: results, and what was not finished."""

from collections.abc import Iterator, Sequence
from typing import Any

from coordinator.sequence.form.sarif import Breach, Spot, Unfinished

Documents = Sequence[dict[str, Any]]


def rules_of(proofs: Documents) -> dict[str, str]:
    """Return everything that was judged, by its name, whether or not it is broken."""
    return {name: text for proof in proofs for name, text in proof["properties"].items()}


def breaches_of(proofs: Documents) -> Iterator[Breach]:
    """Yield each property that is broken, at the last step of its counterexample."""
    for proof in proofs:
        for one in proof["violations"]:
            name, course = one["property"], one["steps"]
            spots = tuple(_spot(step) for step in (*course, *one["broken_by"]) if step["file"])
            at = Spot(one["file"], one["line"], one["column"])
            yield Breach(name, proof["properties"][name], one["text"], at, spots)


def unfinished_of(proofs: Documents) -> Iterator[Unfinished]:
    """Yield each proof that was cut."""
    for proof in proofs:
        if not proof["complete"]:
            yield Unfinished(proof["file"], f"not proved: cut after {proof['states']} states")


def _spot(step: dict[str, Any]) -> Spot:
    who = f"{step['lane']} " if step["lane"] else ""
    return Spot(step["file"], step["line"], step["column"], f"{who}{step['words']}: {step['step']}")
