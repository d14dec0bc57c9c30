"""The verb `compare`: what changed between two files, in physical words."""

from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path

from coordinator.cli.files import report_findings
from coordinator.cli.output import Exit, Output
from coordinator.compare import Change, compare_cells, compare_joints, compare_sequences
from coordinator.sequence import SequenceError, kind_of, load, read_cell, read_joint

_HEADINGS = {
    "joint": "the joint",
    "cell": "the cell",
    "steps": "steps",
    "order": "order",
    "barriers": "barriers",
    "faults": "what follows a fault",
    "questions": "questions to people",
    "properties": "what is to be proved",
}
_COMPARED: dict[str, Callable[[Path, Path, Path | None], tuple[Change, ...]]] = {
    "sequence": lambda was, now, joint: compare_sequences(
        load(was, joint=joint), load(now, joint=joint)
    ),
    "cell": lambda was, now, _: compare_cells(read_cell(was), read_cell(now)),
    "joint": lambda was, now, _: compare_joints(read_joint(was), read_joint(now)),
}


def compare_files(output: Output, was: Path, now: Path, joint: Path | None = None) -> Exit:
    """Say what changed: 0 for the same, 1 for any difference, 2 for files not to be compared.

    With `joint`, two sequences are compared as they would be run on it. Calibrations that have run
    out are no reason not to compare, so they are not judged.
    """
    kinds = kind_of(was) or "sequence", kind_of(now) or "sequence"
    if kinds[0] != kinds[1] or kinds[0] not in _COMPARED:
        what = f"{was} is a {kinds[0]} file and {now} a {kinds[1]} file"
        must = "must be two files of one kind: sequence, cell or joint"
        return output.refuse(f"{what}, {must}; name two that go together")
    if joint is not None and kinds[0] != "sequence":
        return output.refuse(f"--joint is for sequences, these are {kinds[0]} files; leave it out")
    try:
        changes = _COMPARED[kinds[0]](was, now, joint)
    except SequenceError as error:
        report_findings(output, error)
        return Exit.BAD_USE
    _tell(output, was, now, changes)
    output.document(
        ok=True,
        kind=kinds[0],
        is_same=not changes,
        changes=[asdict(change) for change in changes],
    )
    return Exit.FINDINGS if changes else Exit.GOOD


def _tell(output: Output, was: Path, now: Path, changes: tuple[Change, ...]) -> None:
    if not changes:
        output.say(f"the same: {was} and {now} mean the same")
        return
    noun = "change" if len(changes) == 1 else "changes"
    output.say(f"{len(changes)} {noun} from {was} to {now}")
    for about, heading in _HEADINGS.items():
        told = [change.text for change in changes if change.about == about]
        if told:
            output.say(f"{heading}:")
            for text in told:
                output.say(f"  {text}")
