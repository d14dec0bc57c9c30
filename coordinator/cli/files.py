"""Read the files that verbs are given, and turn what is wrong with them into an exit."""

from collections.abc import Callable, Sequence
from dataclasses import asdict, replace
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

import typer

from coordinator.cli.output import Exit, Output, counted
from coordinator.core.plan import Caps
from coordinator.sequence import (
    Case,
    Loaded,
    People,
    SequenceError,
    load,
    read_answers,
    read_case,
)
from coordinator.sequence.caps import capped
from coordinator.sequence.form.diagnostics import Diagnostic

_UNREADABLE = ("SEQ001",)
Read = TypeVar("Read")


def read_or_exit(output: Output, read: Callable[[], Read]) -> Read:
    """Return what `read` reads; print every finding and leave if it cannot be used.

    A file that cannot be read at all is bad use (2); one that breaks rules is a finding (1).
    """
    try:
        return read()
    except SequenceError as error:
        report_findings(output, error)
        raise typer.Exit(exit_of(error.diagnostics)) from None


def report_findings(output: Output, error: SequenceError) -> None:
    """Report what is wrong with files as an error."""
    found = error.diagnostics
    text = f"{counted(len(found), 'finding')}, the first: {found[0]}"
    output.error(text, shown=error.render(), findings=[to_data(one) for one in found])


def exit_of(diagnostics: Sequence[Diagnostic]) -> Exit:
    """Return how a program ends that was given such files."""
    unreadable = any(one.code in _UNREADABLE for one in diagnostics)
    return Exit.BAD_USE if unreadable else Exit.FINDINGS


def to_data(diagnostic: Diagnostic) -> dict[str, Any]:
    """Return a finding as a document."""
    return asdict(diagnostic) | {"excerpt": diagnostic.window()[0]}


def load_sequence(output: Output, path: Path, joint: Path | None = None) -> Loaded:
    """Load a sequence with its cell and joint, calibrations judged as of today."""
    today = date.today()  # noqa: DTZ011 (a calendar day on site)
    return read_or_exit(output, lambda: load(path, joint=joint, today=today))


def load_capped(output: Output, path: Path, joint: Path | None, caps: Caps) -> Loaded:
    """Return a sequence under caps; leave with what is wrong."""
    loaded = load_sequence(output, path, joint)
    try:
        return replace(loaded, plan=capped(loaded.plan, caps))
    except ValueError as error:
        raise typer.Exit(output.refuse(str(error))) from None


def load_case(output: Output, path: Path | None, loaded: Loaded) -> Case | None:
    """Load a case for a sequence, and say if it was found on another."""
    if path is None:
        return None
    case = read_or_exit(output, lambda: judged_case(path, loaded))
    sequence, found = loaded.files[0][0], case.found
    if found is not None and found.sequence != sequence:
        output.say(
            f"WARNING: {path} was found on '{found.sequence}', this is '{sequence}': it need not "
            "come to the same here; `bothsides replay` runs it on what it was found on"
        )
    elif found is not None and found.digest not in ("", loaded.plan.digest):
        output.say(
            f"WARNING: {path} was found when the files of '{sequence}' were other ones: it need "
            "not come to the same here; `bothsides replay` runs it on those"
        )
    return case


def judged_case(path: Path, loaded: Loaded) -> Case:
    """Read a case, and judge it by the sequence that it is run on.

    Raises:
        SequenceError: With every finding.
    """
    from coordinator.campaign.oracles import PROMISES
    from coordinator.rehearse.simulated import BOLT_CATALOGUE, PLACED

    return read_case(
        path,
        BOLT_CATALOGUE,
        sides=(*loaded.cell.sides, loaded.cell.hoist or "hoist", "floor", "coordinator"),
        bolt_count=loaded.joint.bolt_count,
        placed=PLACED,
        promises=PROMISES,
    )


def load_answers(output: Output, path: Path | None) -> People | None:
    """Load what people answer and do."""
    return None if path is None else read_or_exit(output, lambda: read_answers(path))
