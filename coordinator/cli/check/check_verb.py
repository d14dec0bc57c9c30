"""The verb `check`: judge files by every rule and say everything that is wrong."""

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from datetime import date
from pathlib import Path
from tempfile import TemporaryFile
from typing import TYPE_CHECKING, Any

from coordinator.cli.asked import CheckAsked
from coordinator.cli.files import exit_of, to_data
from coordinator.cli.output import Exit, Output, counted
from coordinator.sequence import (
    CODES,
    Diagnostic,
    FormatError,
    Loaded,
    SequenceError,
    kind_of,
    load,
    read_answers,
    read_case,
    read_cell,
    read_joint,
    reformat,
)
from coordinator.sequence.form.sarif import Breach, Spot, Unfinished, to_sarif

if TYPE_CHECKING:
    from coordinator.prove import Limits

Documents = Sequence[dict[str, Any]]
CAUSES = 2
"""Up to how many things that go wrong a proof covers, where nothing else is asked."""
STATES_MAX = 20_000_000
IDLE = (
    "That the proof does without something is no leave to take it out: the proof knows only what "
    "is promised. The floor may need it; who set it decides."
)


def check_files(output: Output, paths: Sequence[Path], asked: CheckAsked) -> Exit:
    """Check sequences, cells, joints or cases; the worst decides how the program ends."""
    refused = "\n".join(refusals(asked))
    if refused:
        return output.refuse(refused)
    worst, good = Exit.GOOD, []
    findings: list[Diagnostic] = []
    plans: list[tuple[Path, Loaded]] = []
    for path in paths:
        try:
            if asked.fix and not _reformat(output, path):
                worst = max(worst, Exit.FINDINGS)
            if kind_of(path) in _READERS:
                output.say(f"{path}: keeps every rule: {_READERS[kind_of(path)](path)}")
            else:
                plans.append((path, _judge_sequence(output, path, asked)))
            good.append(str(path))
        except SequenceError as error:
            output.say(error.render())
            findings += error.diagnostics
            worst = max(worst, exit_of(error.diagnostics))
    proofs, clearances = ([], []) if asked.quick else _prove(output, plans, asked)
    left_out = [_leave_out(output, *plan, asked) for plan in plans if asked.leave_out]
    unproved = [one["file"] for one in proofs if not one["proved"]]
    unproved += [one["file"] for one in clearances if not one["clear"]]
    if unproved:
        worst = max(worst, Exit.FINDINGS)
    if asked.sarif:
        _print_sarif(findings, proofs)
        return worst
    output.document(
        ok=worst is Exit.GOOD,
        good=[one for one in good if one not in unproved],
        findings=[to_data(one) for one in findings],
        proofs=proofs,
        clearances=clearances,
        **({"left_out": left_out} if asked.leave_out else {}),
    )
    return worst


def _print_sarif(findings: Sequence[Diagnostic], proofs: Sequence[dict[str, Any]]) -> None:
    """Print everything that is wrong, by rules or by proofs, and what was not finished."""
    document = to_sarif(
        findings,
        {**CODES, **rules_of(proofs)},
        folder=Path.cwd(),
        breaches=tuple(breaches_of(proofs)),
        unfinished=tuple(unfinished_of(proofs)),
    )
    print(json.dumps(document, ensure_ascii=False))


def _leave_out(output: Output, path: Path, loaded: Loaded, asked: CheckAsked) -> dict[str, Any]:
    """Say of each thing that can be left out what depends on it."""
    from coordinator.cli.check.leaving_out import leave_out

    limits = limits_of(asked)
    found = []
    for one in leave_out(path, loaded, limits, date.today()):  # noqa: DTZ011 (as above)
        cut = "" if one.is_complete else " as far as it went; it was cut"
        depends = ", ".join(one.found) or f"no property of this proof needs it{cut}"
        output.say(f"{path}: without {one.what} {one.name}: {depends}")
        found.append(asdict(one))
    idle = sum(not one["found"] for one in found)
    causes = f"{limits.causes} cause{'s' if limits.causes != 1 else ''}"
    output.say(
        f"{path}: {len(found)} left out in turn; of {idle} the proof, with {causes}, needs none"
    )
    if idle:
        output.say(f"  {IDLE}")
    return {"file": str(path), "dropped": found}


def _reformat(output: Output, path: Path) -> bool:
    """Put a file into the layout of the house; return False if it had to stay as it is."""
    try:
        if reformat(path):
            output.say(f"{path}: put into the house's layout; comments and meaning are as before")
    except FormatError as error:
        output.say(str(error))
        return False
    return True


def _judge_sequence(output: Output, path: Path, asked: CheckAsked) -> Loaded:
    loaded = load(path, joint=asked.joint, today=date.today())  # noqa: DTZ011 (a calendar day on site)
    plan = loaded.plan
    steps = sum(1 for node in plan.nodes if node.move)
    held = ", ".join(
        (
            counted(steps, "step"),
            counted(len(plan.barriers), "barrier"),
            counted(len(plan.spans), "paired span"),
        )
    )
    if loaded.properties:
        held += f", {len(loaded.properties)} properties of its own"
    output.say(f"{path}: keeps every rule: {held}")
    return loaded


def _prove(
    output: Output, plans: Sequence[tuple[Path, Loaded]], asked: CheckAsked
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Prove one after the other, and judge clearances; what several share is decided once."""
    from coordinator.cli.check.proof import Proving, prove
    from coordinator.cli.check.space import judge_space
    from coordinator.prove import Stores

    proving = Proving(limits_of(asked), Stores(), asked.out)
    proofs = [
        {"file": str(path), **prove(output, str(path), loaded, proving)} for path, loaded in plans
    ]
    return proofs, [judge_space(output, path, loaded, proving) for path, loaded in plans]


def _judge_cell(path: Path) -> str:
    cell = read_cell(path)
    return f"a cell of sides {' and '.join(cell.sides)}, {len(cell.actions)} actions"


def _judge_joint(path: Path) -> str:
    joint = read_joint(path)
    return f"a joint of {joint.bolt_count} bolts, {len(joint.rounds)} rounds"


def _judge_case(path: Path) -> str:
    from coordinator.rehearse.simulated import BOLT_CATALOGUE

    case = read_case(path, BOLT_CATALOGUE)
    return f"a case of {len(case.causes)} causes"


def _judge_answers(path: Path) -> str:
    people = read_answers(path)
    return f"{len(people.answers)} answers, {len(people.acts)} acts, {len(people.steps)} steps"


def _judge_windows(path: Path) -> str:
    from coordinator.cli.records.study_verbs import read_windows

    windows = read_windows(path)
    return f"windows for {len(windows.kinds)} kinds of record"


_READERS = {
    "cell": _judge_cell,
    "joint": _judge_joint,
    "case": _judge_case,
    "answers": _judge_answers,
    "windows": _judge_windows,
}


def limits_of(asked: CheckAsked) -> "Limits":
    """Return what a proof may spend."""
    from coordinator.prove import Limits  # Whoever only wants the rules needs no proof.

    causes = CAUSES if asked.causes is None else asked.causes
    return Limits(causes, asked.states_max or STATES_MAX)


def refusals(asked: CheckAsked) -> Iterator[str]:
    """Yield everything that is asked and cannot be done."""
    if asked.quick:
        yield from _idle_when_quick(asked)
    why = None if asked.out is None else why_unwritable(asked.out)
    if why is not None:
        yield (
            f"--out {asked.out}: {why}, must be a folder that can be written to; "
            f"name another, nothing has been proved"
        )


def _idle_when_quick(asked: CheckAsked) -> Iterator[str]:
    """Yield what does nothing where no proof is made."""
    idle = (
        ("--out", asked.out is not None, "leaves what a proof found to be broken"),
        ("--states", asked.states_max is not None and not asked.leave_out, "bounds a proof"),
        ("--causes", asked.causes is not None and not asked.leave_out, "bounds a proof"),
    )
    for option, is_given, does in idle:
        if is_given:
            yield f"{option} {does}, and --quick makes none; leave one of the two out"


def why_unwritable(folder: Path) -> str | None:
    """Return why nothing can be written into a folder, None if it can; leaves nothing behind."""
    made = [one for one in (folder, *folder.parents) if not one.exists()]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with TemporaryFile(dir=folder):
            pass
    except FileExistsError:
        return "is a file"
    except NotADirectoryError:
        return "lies below a file"
    except OSError as error:
        return f"cannot be written to ({error.strerror})"
    finally:
        for one in made:
            if one.is_dir():
                one.rmdir()
    return None


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
