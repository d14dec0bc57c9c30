"""Sequence files: read, judge by every rule, and compile into the plan of the core.

`load` is the door for sequences, `read_case` and `read_answers` for what is tried on them; each
raises `SequenceError` with every finding.
"""

from coordinator.sequence.cases.case import (
    Act,
    Answer,
    Case,
    CaseCause,
    Catalogue,
    Found,
    People,
    StepWord,
    read_answers,
    read_case,
)
from coordinator.sequence.compiler.joint import JointFigures, RoundFigures
from coordinator.sequence.form.diagnostics import CODES, Diagnostic, SequenceError
from coordinator.sequence.format import FormatError, reformat
from coordinator.sequence.load import Loaded, kind_of, load, read_cell, read_joint

__all__ = [
    "CODES",
    "Act",
    "Answer",
    "Case",
    "CaseCause",
    "Catalogue",
    "Diagnostic",
    "FormatError",
    "Found",
    "JointFigures",
    "Loaded",
    "People",
    "RoundFigures",
    "SequenceError",
    "StepWord",
    "kind_of",
    "load",
    "read_answers",
    "read_case",
    "read_cell",
    "read_joint",
    "reformat",
]
