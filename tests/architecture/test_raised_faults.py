"""Activities raise faults that the shipped cell declares, and an action there may raise them."""

import ast

import yaml

from tests.support.house import ROOT
from tests.support.sequence_files import SEQUENCES


def raised() -> set[str]:
    """Return every fault that is written out where an activity raises it."""
    found = set()
    for path in (ROOT / "sim_arms" / "activities").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "ActivityFault":
                found |= {one.value for one in node.args[:1] if isinstance(one, ast.Constant)}
    return {str(one) for one in found}


def test_a_fault_that_an_activity_raises_is_declared_and_some_action_may_raise_it() -> None:
    """The coordinator would call it unknown, and ask a person about what a policy could handle."""
    text = (SEQUENCES / "cells" / "sill_point.yaml").read_text(encoding="utf-8")
    # BaseLoader: every scalar a string, for YAML 1.1 reads a bare `on` as true.
    cell = yaml.load(text, yaml.BaseLoader)

    may = {fault for action in cell["actions"].values() for fault in action.get("raises", [])}
    assert sorted(raised() - {*cell["faults"]}) == []
    assert sorted(raised() - may) == []
    assert len(raised()) >= 8  # Else the activities are written otherwise, and nothing is compared.
