"""The verb `new`: start a cell from questions or flags, with a first sequence that runs.

Invariants: NW1, a new cell is written whole or not at all, only if it keeps every rule and its
first sequence rehearses to its end; NW2, a folder with anything in it is left alone.
"""

import re
import shutil
import sys
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path

from coordinator.bolting.errors import BoltingError
from coordinator.cautions import CAUTION
from coordinator.cli.files import report_findings
from coordinator.cli.new.beginning import FIRST, write_cell
from coordinator.cli.new.questions import QUESTIONS, Question
from coordinator.cli.output import Exit, Output, counted
from coordinator.rehearse.rehearsal import rehearse
from coordinator.sequence import SequenceError, load

_ASKED_MAX = 5
# Chosen: whoever gives five wrong answers to one question is helped more by the end of it.
_BESIDE = re.compile(r"\S*/\.bothsides-[^/\s]+/")
_TOLD_MAX = 4
# Chosen: the last warnings say why a rehearsal did not come to its end.


class _RefusedError(Exception):
    """The reason why no cell is started."""


def start_cell(output: Output, folder: Path, given: Mapping[str, str]) -> Exit:
    """Start a cell in a new folder.

    Args:
        output: Where things go.
        folder: Must not exist, or be empty.
        given: Answers by the name of their question, where a flag gave one.
    """
    try:
        _check_folder(folder)
        ask = _ask if sys.stdin.isatty() and not output.is_json else None
        answers = _answered(output, given, ask)
        written = _write(output, folder, answers)
    except _RefusedError as refused:
        return output.refuse(f"{refused}; nothing is written")
    except SequenceError as error:
        # It was judged beside the folder, in one that is gone again.
        found = [replace(one, file=_BESIDE.sub("", one.file)) for one in error.diagnostics]
        report_findings(output, SequenceError(found))
        output.errors.print("nothing is written")
        return Exit.FINDINGS
    output.say(f"{folder}: {len(written)} files; the first sequence keeps every rule and rehearses")
    output.say(f"next: bothsides dryrun {folder / FIRST}")
    output.say(CAUTION)
    output.document(ok=True, folder=str(folder), written=written)
    return Exit.GOOD


def _check_folder(folder: Path) -> None:
    try:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            what = "holds something already" if folder.is_dir() else "is a file"
            raise _RefusedError(f"{folder} {what}, must be a new or an empty folder; name another")
        if not folder.absolute().parent.is_dir():
            raise _RefusedError(f"{folder.parent} is no folder, must be one; make it first")
    except OSError as error:
        raise _RefusedError(f"{folder}: {error.strerror}; name another folder") from error
    if not re.search(r"[a-z]", folder.absolute().name.lower()):
        raise _RefusedError(
            f"{folder} has no letter in its name, must have one; name another folder"
        )


def _answered(
    output: Output,
    given: Mapping[str, str],
    ask: Callable[[Output, Question, Mapping[str, str]], str] | None,
) -> dict[str, str]:
    """Return an answer to every question: given, asked for, or else suggested."""
    answers: dict[str, str] = {}
    missing = []
    for question in QUESTIONS:
        answer = given.get(question.name)
        if answer is not None:
            wrong = question.check(answer.strip(), answers)
            if wrong is not None:
                raise _RefusedError(f"{question.flag} is {answer!r}, {wrong}")
        elif ask is not None:
            answer = ask(output, question, answers)
        elif question.suggest is None:
            missing.append(question)
        elif not missing:
            answer = _suggested(question, answers)
        answers[question.name] = (answer or "").strip()
    if missing:
        flags = " ".join(f"{one.flag} '{one.example}'" for one in missing)
        raise _RefusedError(
            f"{counted(len(missing), 'flag')} missing, must be given; add such as {flags}"
        )
    return answers


def _suggested(question: Question, answers: Mapping[str, str]) -> str:
    if question.suggest is None:
        return ""
    try:
        return question.suggest(answers)
    except BoltingError as error:
        raise _RefusedError(f"{question.flag} cannot be reckoned: {error}") from error


def _ask(output: Output, question: Question, answers: Mapping[str, str]) -> str:
    """Ask a person until the answer can be used; an empty one takes what is suggested."""
    try:
        suggested = _suggested(question, answers)
    except _RefusedError:
        suggested = ""
    hint = f"[{suggested}]" if suggested else f"(such as {question.example})"
    for _ in range(_ASKED_MAX):
        try:
            answer = input(f"{question.text} {hint}: ").strip() or suggested
        except EOFError:
            raise _RefusedError("the questions were left unanswered") from None
        wrong = "must be given" if not answer else question.check(answer, answers)
        if wrong is None:
            return answer
        output.say(f"  {wrong}")
    raise _RefusedError(f"{question.text}: {_ASKED_MAX} answers could not be used")


def _write(output: Output, folder: Path, answers: Mapping[str, str]) -> list[str]:
    """Write, judge and rehearse beside the folder, then put it in its place in one move."""
    name = re.sub(r"[^a-z0-9_]+", "_", folder.absolute().name.lower())
    name = re.sub(r"^[^a-z]+", "", name)[:40]
    try:
        beside = Path(tempfile.mkdtemp(prefix=".bothsides-", dir=folder.absolute().parent))
    except OSError as error:
        raise _RefusedError(f"{folder}: {error.strerror}; name another folder") from error
    try:
        made = beside / folder.absolute().name
        made.mkdir()
        written = write_cell(made, name, answers)
        _judge(output, made)
        if folder.exists():
            folder.rmdir()
        made.rename(folder)
    except OSError as error:
        raise _RefusedError(f"{folder}: {error.strerror}; name another folder") from error
    finally:
        shutil.rmtree(beside, ignore_errors=True)
    return written


def _judge(output: Output, made: Path) -> None:
    """Judge the first sequence by every rule and rehearse it."""
    loaded = load(made / FIRST, today=date.today())  # noqa: DTZ011 (a calendar day on site)
    output.say("rehearsing the first sequence ...")
    result = rehearse(loaded)
    if result.phase != "complete":
        told = [one.text for _, one in result.notices if one.severity in ("warning", "alarm")]
        for one in told[-_TOLD_MAX:]:
            output.say(f"  {one}")
        why = f"the first sequence ended {result.phase} in rehearsal: {result.reason}"
        raise _RefusedError(f"{why}; look at torque, sockets and sizes")
