"""The verb `commission matrix`: cause and effect from the files, ticked from journals alone."""

import contextlib
import json
import time
from collections.abc import Sequence
from pathlib import Path

from coordinator.cautions import CAUTION
from coordinator.cli.commission.asked import MatrixAsked
from coordinator.cli.evidence import PROGRAM
from coordinator.cli.files import load_sequence
from coordinator.cli.output import Exit, Output, counted
from coordinator.commissioning.book import Book, book_path, read_book
from coordinator.commissioning.matrix import CAUSES, matrix_of
from coordinator.commissioning.matrix_judge import judge
from coordinator.commissioning.matrix_sheet import (
    TICKED,
    Row,
    World,
    rows_of,
    ticks_body,
    to_html,
    to_lines,
)
from coordinator.core.decide import begin
from coordinator.live.hurry import hurried
from coordinator.operate.keeping import write_journal
from coordinator.operate.pinned import load_pinned, speed_of
from coordinator.records.journal import FILE_NAME, Journal, JournalFailed
from coordinator.records.replaying import replay_steps
from coordinator.rehearse.matrix_drill import Drill
from coordinator.rehearse.rehearsal import Rehearsal, Rehearsed
from coordinator.rehearse.simulated import unknown_to_simulation
from coordinator.sequence import Loaded
from coordinator.wire.codec import to_time

ENDINGS = (".html", ".json", ".txt")
DRILLS = "drills"
"""Folder, beside the book, with the journals of drills."""
DRILL_US_MAX = 600_000_000


def commission_matrix(output: Output, path: Path, asked: MatrixAsked) -> Exit:
    """Show the matrix, ticked first if that is asked for; 0 every cell passed, 1 not."""
    if asked.target is not None and asked.target.suffix not in ENDINGS:
        return output.refuse(
            f"{asked.target}: ending must be one of {', '.join(ENDINGS)}; rename it"
        )
    loaded = load_sequence(output, path, asked.joint)
    at = book_path(asked.book, loaded.cell.cell)
    if asked.drill and (unknown := unknown_to_simulation(loaded)):
        return output.refuse(unknown)
    try:
        folders = list(_drills(output, path, loaded, asked)) if asked.drill else []
        for runs in asked.runs:
            folders += sorted(one.parent for one in runs.glob(f"*/{FILE_NAME}"))
        if folders:
            with Book.open(at) as book:
                for folder in folders:
                    _judge(output, book, loaded, folder)
        rows = rows_of(matrix_of(loaded.plan), read_book(at))
        if asked.target is not None:
            _write(asked.target, rows, loaded)
    except (ValueError, JournalFailed) as error:
        return output.refuse(str(error))
    except OSError as error:
        return output.refuse(f"{error.filename}: {error.strerror}; name another place")
    return _tell(output, rows, loaded, asked)


def _drills(output: Output, path: Path, loaded: Loaded, asked: MatrixAsked) -> Sequence[Path]:
    """Drill every interlock by every cause, and the exceptions; return where the journals are."""
    output.say("SIMULATED: drilling every interlock in virtual time; no steel is touched")
    folders = []
    for index, interlock in enumerate(loaded.plan.interlocks):
        for cause in CAUSES:
            drill = Drill(loaded, asked.seed)
            drill.run(drill.one_interlock(index, cause), DRILL_US_MAX)
            name = f"drill_{loaded.plan.name}_{interlock.name}_{cause}"
            folders.append(_keep(path, loaded, asked, name, drill))
    drill = Drill(loaded, asked.seed, starts=True)
    drill.run(drill.exceptions())
    folders.append(_keep(path, loaded, asked, f"drill_{loaded.plan.name}_exceptions", drill))
    return folders


def _keep(path: Path, loaded: Loaded, asked: MatrixAsked, name: str, drill: Drill) -> Path:
    """Write the journal of a drill, under a name of its own."""
    whole = f"{name}_{time.time_ns() // 1_000_000}"
    folder = asked.book / DRILLS / whole
    folder.mkdir(parents=True)
    events = tuple(drill.events)
    rehearsed = Rehearsed(path, asked.joint, loaded, Rehearsal(), events, asked.seed)
    write_journal(folder, whole, rehearsed)
    return folder


def _judge(output: Output, book: Book, loaded: Loaded, folder: Path) -> None:
    """Tick what one journal shows; one that is judged already, or of other files, is left alone."""
    with contextlib.closing(Journal.open(folder / FILE_NAME)) as journal:
        head = journal.head
        known = (one.body["journal"] for one in book.entries if one.kind == TICKED)
        if head.plan_digest != loaded.plan.digest or journal.digest in known:
            return
        if (wrong := journal.verify()) is not None:
            output.say(f"not judged: {wrong}")
            return
        pinned = load_pinned(head)
        if pinned is None:
            output.say(f"not judged: {folder}: the files of its journal do not load any more")
            return
        plan = hurried(pinned.plan, speed_of(head))
        state = begin(plan, head.first_command)
        ticks = judge(plan, replay_steps(plan, journal), state, written=pinned.plan)
        standings = dict(head.standings)
        body = ticks_body(head.run, journal.digest, head.plan_digest, standings, ticks)
        now = to_time(time.time_ns() // 1_000)
        book.append(now, TICKED, PROGRAM.replace("run", "commission matrix"), body)


def _write(file: Path, rows: Sequence[Row], loaded: Loaded) -> None:
    title = f"{loaded.cell.text}, {loaded.plan.name}"
    match file.suffix:
        case ".html":
            text = to_html(rows, title, (CAUTION,))
        case ".json":
            text = json.dumps([row.document() for row in rows], indent=2) + "\n"
        case _:
            text = "\n".join((title, CAUTION, *to_lines(rows))) + "\n"
    file.write_text(text, encoding="utf-8")


def _tell(output: Output, rows: Sequence[Row], loaded: Loaded, asked: MatrixAsked) -> Exit:
    for line in to_lines(rows):
        output.say(line)
    world: World = "real" if asked.real else "simulated"
    results = [row.of(world).result for row in rows]
    counts = {word: results.count(word) for word in ("passed", "failed", "untested")}
    told = ", ".join(f"{count} {word}" for word, count in counts.items())
    output.say(f"{counted(len(rows), 'cell')} on {world} parties: {told}")
    if asked.target is not None:
        output.say(f"wrote {asked.target}")
    is_good = counts["passed"] == len(rows)
    output.document(
        ok=is_good,
        cell=loaded.cell.cell,
        plan=loaded.plan.digest,
        counted=world,
        **counts,
        cells=[row.document() for row in rows],
    )
    return Exit.GOOD if is_good else Exit.FINDINGS
