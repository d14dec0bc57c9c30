"""What people read of a dry run, and what it proves, stays as it was unless somebody says so.

Times are rounded to 10 ms and torque to 1 N·m, so that the last bits of a float do not matter.
`pytest tests/golden --update` writes the files anew; read the difference before you commit it.
"""

import difflib
from pathlib import Path

import pytest

from coordinator.live.coordinator import Proof
from coordinator.rehearse.rehearsal import Rehearsal, rehearse
from coordinator.rehearse.simulated import BOLT_CATALOGUE
from coordinator.sequence import Loaded, load, read_case
from tests.support.sequence_files import SEQUENCES

STORED = Path(__file__).parent / "stored"
OF_CASE = {"new_bolt_is_there": ("replace_bolt", "replace_bolt_20")}
"""Sequences that a case is tried on; those not named here are tried on `makeup_8`."""
RUNS = [
    *((path.stem, "") for path in sorted(SEQUENCES.glob("*.yaml"))),
    *(
        (name, path.stem)
        for path in sorted((SEQUENCES / "cases").glob("*.yaml"))
        for name in OF_CASE.get(path.stem, ("makeup_8",))
    ),
]


def told(name: str, case: str) -> str:
    """Return notices and records of a dry run as text."""
    loaded = load(SEQUENCES / f"{name}.yaml")
    given = read_case(SEQUENCES / "cases" / f"{case}.yaml", BOLT_CATALOGUE) if case else None
    result = rehearse(loaded, seed=given.seed if given else 1, case=given)
    rows = [f"{_seconds(at_us)} {one.severity:7} {one.text}" for at_us, one in result.notices]
    records = [_record(loaded, proof) for proof in result.proofs]
    return "\n".join([*rows, "", *records, "", _end(result), ""])


def _record(loaded: Loaded, proof: Proof) -> str:
    effect = proof.effect
    node = loaded.plan.nodes[effect.node]
    party = loaded.plan.parties[effect.party].name
    results = dict(effect.results)
    torque = f", {results['torque_nm']:.0f} N·m" if "torque_nm" in results else ""
    outcome = f"{effect.outcome} {effect.fault}".strip()
    return f"{_seconds(proof.at_us)} {party}: {node.name}, {outcome}{torque}"


def _end(result: Rehearsal) -> str:
    reason = f": {result.reason}" if result.reason else ""
    return f"{_seconds(result.time_us)} ended {result.phase}{reason}"


def _seconds(at_us: int) -> str:
    return f"{round(at_us / 10_000) / 100:9.2f}"


@pytest.mark.parametrize(("name", "case"), RUNS)
def test_a_dry_run_tells_and_proves_what_is_stored(
    pytestconfig: pytest.Config, name: str, case: str
) -> None:
    """A change of behaviour must be seen by whoever makes it, in words."""
    path = STORED / f"{name}{'_' if case else ''}{case}.txt"

    text = told(name, case)

    if pytestconfig.getoption("--update"):
        path.write_text(text, encoding="utf-8")
    stored = path.read_text(encoding="utf-8") if path.exists() else ""
    difference = difflib.unified_diff(
        stored.splitlines(), text.splitlines(), "stored", "now", lineterm="", n=1
    )
    assert text == stored, "\n".join(difference)


def test_nothing_is_stored_that_no_run_is_compared_with() -> None:
    """A file left behind would look like a promise."""
    named = {f"{name}{'_' if case else ''}{case}.txt" for name, case in RUNS}

    assert {path.name for path in STORED.iterdir()} == named
