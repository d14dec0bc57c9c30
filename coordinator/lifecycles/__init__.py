"""Declare every lifecycle once, with `transitions`, and compile it to the table that is run.

A lifecycle is declared as data in the form that `transitions.Machine` takes. The machine draws the
diagrams and is the oracle of the tests; the compiled table is what the core and the arms look up.

Invariants: D5, no lifecycle moves except along a declared transition.
"""

from coordinator.lifecycles.declared import ALARM, ARM, BARRIER, PROCEDURE, PROMPT, STEP
from coordinator.lifecycles.table import Lifecycle, LifecycleError

__all__ = ["ALARM", "ARM", "BARRIER", "PROCEDURE", "PROMPT", "STEP", "Lifecycle", "LifecycleError"]
