"""The verb `replay`: run one case again from the very beginning, and say whether it is the same."""

from dataclasses import dataclass, replace
from pathlib import Path

from coordinator.campaign.case_file import as_regression, case_text
from coordinator.campaign.oracles import PROMISES
from coordinator.campaign.running import Outcome, replay_case
from coordinator.cli.files import judged_case, load_sequence, read_or_exit
from coordinator.cli.output import Exit, Output
from coordinator.rehearse.simulated import BOLT_CATALOGUE, PLACED
from coordinator.rehearse.stage import (
    StageMaker,
    StageOpening,
    maker_of,
    program_sha256,
    vocabulary_of,
)
from coordinator.sequence import Case, Diagnostic, Loaded, SequenceError, load, read_case
from coordinator.sequence.form.diagnostics import Findings
from coordinator.sequence.form.source import read_document
from coordinator.sequence.form.tree import Document
from coordinator.sequence.read import root_of

TEST_NAME = "test_cases_of_campaigns.py"
_TEST = Path(__file__).with_name("regression_test.txt")


@dataclass(frozen=True, slots=True)
class Compared:
    """What a case came to, beside what it says it came to."""

    outcome: Outcome
    differs: tuple[str, ...]


def judge_case(path: Path, file: Path | None = None) -> Outcome:
    """Run a case of a campaign and return what it comes to.

    Args:
        path: The case.
        file: A sequence instead of the one in a `sequences` folder above the case; without
            either, the one that the case holds.

    Raises:
        SequenceError: With every finding in the files.
        ValueError: the case names no sequence, and none is given.
    """
    case = read_case(path, BOLT_CATALOGUE, placed=PLACED)
    shipped = file or _shipped(path, case)
    loaded = _held(path, case) if shipped is None else load(shipped)
    return replay_case(StageOpening(loaded), case)


def replay(output: Output, path: Path, file: Path | None, to_test: Path | None) -> Exit:
    """Replay a case, compare it with what it says of itself, and maybe make it a test."""
    case = read_or_exit(output, lambda: read_case(path, BOLT_CATALOGUE, placed=PLACED))
    if (case.found is None or not case.found.files) and file is None:
        return output.refuse(
            f"{path}: the case does not hold its sequence, as one of a campaign does; "
            "name the sequence with --sequence"
        )
    if file is None:
        loaded = read_or_exit(output, lambda: _held(path, case))
    else:
        loaded = load_sequence(output, file)
    case = read_or_exit(output, lambda: judged_case(path, loaded))
    if to_test is not None:
        return _make_test(output, case, loaded, file=file, place=to_test / f"{path.stem}.yaml")
    try:
        outcome = replay_case(StageOpening(loaded), case)
    except KeyboardInterrupt:
        text = f"{path}: ended before the case was over; nothing was judged"
        output.error(text)
        return Exit.HELD
    compared = compare(case, outcome, loaded, program_sha256())
    _tell(output, case, compared)
    good = not compared.differs if case.found and case.found.ended else not outcome.violations
    output.document(
        ok=good,
        ended=outcome.ended,
        broken=[one.signature for one in outcome.violations],
        index=outcome.index,
        at_us=outcome.at_us,
        trace_sha256=outcome.trace_sha256,
        differs=list(compared.differs),
    )
    return Exit.GOOD if good else Exit.FINDINGS


def compare(case: Case, outcome: Outcome, loaded: Loaded, program: str) -> Compared:
    """Say in which ways a replay differs from what its case says.

    Args:
        case: As its file has it.
        outcome: Of the replay.
        loaded: The sequence that was replayed.
        program: SHA-256 over the program that replayed it.
    """
    found = case.found
    if found is None or not found.ended:
        return Compared(outcome, ())
    pairs = (
        ("end", found.ended, outcome.ended),
        ("promises broken", found.broken, tuple(one.signature for one in outcome.violations)),
        ("deliveries", found.index, outcome.index),
        ("trace", found.trace, outcome.trace_sha256),
    )
    differs = [f"{what}: was {then}, is {now}" for what, then, now in pairs if then != now]
    if differs and found.digest != loaded.plan.digest:
        differs.append("the sequence is another than it was")
    if differs and found.program != program:
        differs.append("the program is another than it was")
    return Compared(outcome, tuple(differs))


def _shipped(path: Path, case: Case) -> Path | None:
    """Return the sequence of a case as it is now, since old files may break newer rules."""
    if case.found is None:
        return None
    places = (parent / "sequences" / case.found.sequence for parent in path.resolve().parents)
    return next((place for place in places if place.exists()), None)


def _held(path: Path, case: Case) -> Loaded:
    """Return the sequence that a case holds; what is wrong with it is told at the case's file."""
    if case.found is None or not case.found.files:
        raise ValueError(f"case '{case.case}' holds no sequence; give one")
    try:
        return StageMaker(case.found.sequence, case.found.files).loaded()
    except SequenceError as error:
        document = read_document(path, root_of(path), Findings())
        if document is None:
            raise
        raise SequenceError(_in_case(document, one) for one in error.diagnostics) from None


def _in_case(document: Document, one: Diagnostic) -> Diagnostic:
    """Return a finding in a file that a case holds, at its place in the file of the case."""
    trail = ("found", "files", one.file)
    line, column = document.place(trail, key=True)
    at = document.place(trail)[0] + one.line  # The text begins below its mark.
    written = document.lines[at - 1] if at <= len(document.lines) else ""
    if one.excerpt and written.endswith(one.excerpt):
        line, column = at, len(written) - len(one.excerpt) + one.column
    what = f"in '{one.file}', line {one.line}: {one.what}"
    excerpt = document.lines[line - 1]
    return replace(one, file=document.display, line=line, column=column, what=what, excerpt=excerpt)


def _make_test(
    output: Output, case: Case, loaded: Loaded, *, file: Path | None, place: Path
) -> Exit:
    """Put a case, and the test that runs it, into a folder of tests."""
    if case.found is None or file is not None:
        maker = maker_of(file or Path(), loaded)
        case = replace(case, found=maker.found())
    test = place.parent / TEST_NAME
    text = case_text(as_regression(case), vocabulary_of(loaded))
    try:
        if place.exists() and place.read_bytes() != text.encode("utf-8"):
            return output.refuse(
                f"{place}: another case of this name is kept there and would be lost; rename "
                "the file of yours, or name another folder with --to-test"
            )
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(text, encoding="utf-8")
        if not test.exists():
            test.write_text(_TEST.read_text("utf-8"), encoding="utf-8")
    except OSError as error:
        return output.refuse(f"{place}: {error.strerror}; name another folder with --to-test")
    output.say(f"{place}: must keep every promise from now on; {test} runs it")
    output.document(ok=True, case=str(place), test=str(test))
    return Exit.GOOD


def _tell(output: Output, case: Case, compared: Compared) -> None:
    outcome = compared.outcome
    output.say(
        f"SIMULATED: {case.case}: {outcome.ended} after {outcome.at_us / 1e6:.3f} s and "
        f"{outcome.index} deliveries, trace {outcome.trace_sha256[:16]}"
    )
    for one in outcome.violations:
        output.say(f"BROKEN at {one.at_us / 1e6:.3f} s: {one.signature}: {one.text}")
        output.say(f"  the promise: {PROMISES.get(one.code, '')}")
    for text in compared.differs:
        output.say(f"DIFFERS: {text}")
    if case.found is not None and case.found.ended and not compared.differs:
        output.say("the same as when it was found, to the byte")
