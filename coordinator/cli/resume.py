"""The verb `resume`: show where a run was left, see that nothing has changed, and go on with it."""

import contextlib
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from coordinator.cli.asked import ResumeAsked
from coordinator.cli.end_of_run import report_end
from coordinator.cli.evidence import keep_evidence
from coordinator.cli.files import load_answers
from coordinator.cli.options import BOOKS
from coordinator.cli.output import Exit, Output
from coordinator.cli.run import REFUSALS, page_wish
from coordinator.commissioning.book import book_path
from coordinator.commissioning.promotion import Asked
from coordinator.compare import compare_sequences
from coordinator.core.events import Act
from coordinator.core.state import ENDED
from coordinator.live.hurry import hurried
from coordinator.live.resuming import differences
from coordinator.live.standing import Standing, Standings
from coordinator.operate.party_process import CAUSES_FILE, read_causes
from coordinator.operate.pinned import NOT_WRITTEN, as_begun, speed_of, unpack
from coordinator.operate.run_live import Resumption, Wishes, run_live
from coordinator.operate.where_was_i import Card, card_of
from coordinator.records.journal import FILE_NAME, Head, Journal, JournalFailed, PinnedFile
from coordinator.records.replaying import replay
from coordinator.rehearse.catalogue import Cause
from coordinator.sequence import Act as WrittenAct
from coordinator.sequence import Loaded, People, SequenceError, load

PINNED = "pinned"
"""Folder, in that of the run, with the files as they were."""
RUNS_TOLD = 5
_BY_COMMAND = "operator who resumed the run"


def resume_run(output: Output, name: str, asked: ResumeAsked) -> Exit:
    """Go on with a run that was left, or only show where it was."""
    folder = asked.out / name
    path = folder / FILE_NAME
    if not path.is_file():
        return output.refuse(_no_run(asked.out, name))
    people = load_answers(output, asked.answer)
    try:
        journal = Journal.open(path) if asked.look else Journal.take_up(path)
        with contextlib.closing(journal):
            # Whoever only looks must not be told a place that nothing can be resumed from.
            journal.require_whole()
            return _resume(output, folder, journal, asked, people)
    except REFUSALS as error:
        return output.refuse(str(error))
    except OSError as error:
        return output.refuse(f"{error.filename or folder}: {error.strerror}; nothing was begun")


def _resume(
    output: Output, folder: Path, journal: Journal, asked: ResumeAsked, people: People | None
) -> Exit:
    head = journal.head
    sequence = unpack(head, folder / PINNED)
    joint = folder / PINNED / head.joint if head.joint else None
    loaded = _load_as_it_was(sequence, joint, journal)
    speed = speed_of(head)
    replayed = replay(hurried(loaded.plan, speed), journal)
    card = card_of(loaded.plan, head, replayed, journal)
    for line in card.lines():
        output.say(line)
    changed = what_changed(head, loaded)
    if asked.look or replayed.state.phase in ENDED:
        return _only_look(output, card, changed, is_asked=asked.look)
    if changed and not asked.pinned:
        return _refuse_changed(output, card, changed)
    stands = standings_of(head, loaded)
    if not stands.is_all_simulated and asked.broker is None:
        return output.refuse(
            f"the parties of this run are not all simulated ({stands.words()}): name their broker "
            "with --broker"
        )
    if asked.restart and not head.simulated:
        return output.refuse("--restart is for simulated arms; real ones are restarted by a person")
    wished = _to_live(loaded, sequence, joint, asked, people)
    resumed = replace(
        wished,
        say=output.say,
        console=output.people,
        seed=head.seed,
        speed=speed,
        standings=stands,
        causes=_causes_of(folder),
        page=page_wish(asked, sequence, joint, head.seed),
    )
    result = run_live(resumed, asked.broker, Resumption(journal, replayed))
    book = book_path(asked.book or BOOKS, loaded.cell.cell)
    if asked.book or not stands.is_all_simulated or book.exists():
        proof = Asked(loaded, head.sequence, stands, replayed.state.mode, loaded.plan.caps)
        keep_evidence(output, book, proof, result, resumed=True)
    return report_end(
        output,
        loaded,
        result,
        out=asked.out,
        records=asked.records,
        where=card.document(),
    )


def standings_of(head: Head, loaded: Loaded) -> Standings:
    """Return who was simulated, in shadow or real; older journals say it of all together."""
    if head.standings:
        return Standings.from_data(head.standings, loaded.cell.hoist or "")
    return Standings.of(loaded.cell, Standing.SIMULATED if head.simulated else Standing.REAL)


def _load_as_it_was(sequence: Path, joint: Path | None, journal: Journal) -> Loaded:
    """Load the files that a run was begun with; calibrations were judged when it began."""
    program = journal.head.program or "unknown"
    try:
        loaded = load(sequence, joint=joint)
    except SequenceError as error:
        raise JournalFailed(
            f"{journal.path}: a rule of this version refuses the files of the run "
            f"({error.diagnostics[0]}); resume with version {program} [JNL004]"
        ) from None
    if loaded.plan.digest != journal.head.plan_digest:
        raise JournalFailed(
            f"{journal.path}: this version makes another plan of the same files; resume with "
            f"version {program} [JNL004]"
        )
    return as_begun(loaded, journal.head)


def read_again(head: Head) -> tuple[PinnedFile, ...]:
    """Read the files of a run as they are now; one that is gone is left out."""
    found = []
    for file in head.files:
        if file.name in NOT_WRITTEN:
            found.append(file)
            continue
        with contextlib.suppress(OSError, UnicodeDecodeError):
            text = (Path(head.root) / file.name).read_text(encoding="utf-8")
            found.append(PinnedFile.of(file.name, text))
    return tuple(found)


def what_changed(head: Head, then: Loaded) -> tuple[str, ...]:
    """Return what is otherwise in the files now: in physical words, then line by line."""
    lines = differences(head.files, read_again(head))
    if not lines:
        return ()
    root = Path(head.root)
    try:
        now = load(root / head.sequence, joint=root / head.joint if head.joint else None)
    except SequenceError as error:
        return (f"the files as they are now break a rule: {error.diagnostics[0]}", *lines)
    words = tuple(change.text for change in compare_sequences(then, now))
    return (*(words or ("nothing is done otherwise; only the writing differs",)), *lines)


def _to_live(
    loaded: Loaded,
    sequence: Path,
    joint: Path | None,
    asked: ResumeAsked,
    people: People | None,
) -> Wishes:
    restart = (WrittenAct(Act.RESTART, _BY_COMMAND, when="held"),) if asked.restart else ()
    written = people or People()
    # The start was given before the crash; another would only be refused.
    acts = (*written.acts, *restart)
    return Wishes(
        loaded=loaded,
        sequence_path=sequence,
        joint_path=joint,
        out=asked.out,
        say=print,
        people=People(written.answers, acts, written.steps),
        interactive=sys.stdin.isatty() and people is None,
        take_over=asked.take_over,
        records=asked.records,
    )


def _causes_of(folder: Path) -> tuple[Cause, ...]:
    path = folder / CAUSES_FILE
    return read_causes(path) if path.is_file() else ()


def _only_look(output: Output, card: Card, changed: Sequence[str], *, is_asked: bool) -> Exit:
    for line in changed:
        output.say(f"changed since: {line}")
    if not is_asked:
        output.say(f"the run has ended {card.phase}; there is nothing to go on with")
    output.document(ok=True, where=card.document(), changed=list(changed))
    return Exit.GOOD


def _refuse_changed(output: Output, card: Card, changed: Sequence[str]) -> Exit:
    for line in changed:
        output.say(f"changed since: {line}")
    error = (
        "the files of the run have changed since it began; put them back, or go on with them as "
        "they were: --pinned"
    )
    return output.refuse(error, where=card.document(), changed=list(changed))


def _no_run(out: Path, name: str) -> str:
    """Say which runs there are instead."""
    runs = sorted(path.parent.name for path in out.glob(f"*/{FILE_NAME}"))
    known = f"; there are {', '.join(runs[-RUNS_TOLD:])}" if runs else ""
    return f"{out / name}: no run is there{known}; name one, or its folder's with --out"
