"""The verbs `commission lists` and `commission pack`: registers, studies, the hand-over pack."""

import contextlib
import os
import shutil
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

from coordinator.cautions import CAUTION
from coordinator.cli.commission.asked import PackAsked
from coordinator.cli.files import load_sequence
from coordinator.cli.output import Exit, Output, counted
from coordinator.commissioning.book import book_path, read_book
from coordinator.commissioning.cycle import Cycle, cycle_of, means_of
from coordinator.commissioning.matrix import matrix_of
from coordinator.commissioning.matrix_sheet import rows_of
from coordinator.commissioning.pack import MANIFEST, Pack, contents, open_things
from coordinator.commissioning.points import points_of
from coordinator.commissioning.registers import Aside, Signed, registers_of
from coordinator.commissioning.sheet import sheet_of
from coordinator.live.hurry import hurried
from coordinator.live.standing import standings_words
from coordinator.operate.pinned import load_pinned, speed_of
from coordinator.records.journal import FILE_NAME, Journal, JournalFailed
from coordinator.records.replaying import replay_steps
from coordinator.sequence import Loaded
from coordinator.sequence.read import root_of
from coordinator.timeline.build import build
from coordinator.wire.codec import to_time


@dataclass(slots=True)
class _Journals:
    """What the journals of a cell say."""

    asides: list[Aside] = field(default_factory=list)
    signed: list[Signed] = field(default_factory=list)
    cycles: list[Cycle] = field(default_factory=list)
    unread: list[str] = field(default_factory=list)


def commission_lists(output: Output, path: Path, asked: PackAsked) -> Exit:
    """Tell overrides, signed points, cycle times and the punch list; 0 nothing open, 1 not."""
    loaded = load_sequence(output, path, asked.joint)
    try:
        pack = _gather(path, loaded, asked)
    except ValueError as error:
        return output.refuse(str(error))
    for item in pack.punch:
        word = f"closed {item.closed}" if item.closed else "OPEN"
        output.say(f"punch {item.number}, {word}: {item.what}: {item.found}; opened {item.opened}")
    for one in pack.asides:
        output.say(
            f"override {one.interlock} by {one.who}, {one.why}: {one.began[:19]} to "
            f"{one.ended[:19] or '?'}, {one.ended_by}; run {one.run}"
        )
    for point in pack.signed:
        said = f"{point.answer} by {point.who}" if point.who else point.answer or "nobody answered"
        output.say(f"{point.kind} point {point.point} ({point.side}), {said}; run {point.run}")
    for cycle in pack.cycles:
        waits = ", ".join(f"{name} {it:.1f} s" for name, it in cycle.waits_s.items())
        output.say(f"{cycle.run} ({cycle.phase}): {cycle.total_s:.1f} s; waited for {waits or '-'}")
    for line in pack.unread:
        output.say(f"journal not read: {line}")
    is_good = not any(item.is_open for item in pack.punch) and not pack.unread
    output.document(
        ok=is_good,
        cell=pack.cell,
        punch=[asdict(one) | {"open": one.is_open} for one in pack.punch],
        overrides=[asdict(one) for one in pack.asides],
        signed=[asdict(one) for one in pack.signed],
        cycle_time={"sequences": means_of(pack.cycles), "runs": [asdict(it) for it in pack.cycles]},
        unread=list(pack.unread),
    )
    return Exit.GOOD if is_good else Exit.FINDINGS


def commission_pack(output: Output, path: Path, asked: PackAsked, out: Path, by: str) -> Exit:
    """Write the hand-over pack; 0 nothing is open, 1 something is, and the pack says what."""
    if not by.strip():
        return output.refuse("--out and --by must name the folder of the pack and who draws it up")
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        return output.refuse(f"{out}: is there already, must be a new or an empty folder")
    loaded = load_sequence(output, path, asked.joint)
    try:
        pack = _gather(path, loaded, asked, by)
        made = contents(pack)
        _write(out, made)
    except (ValueError, JournalFailed) as error:
        return output.refuse(str(error))
    except OSError as error:
        return output.refuse(f"{error.filename}: {error.strerror}; name another folder")
    left = open_things(pack)
    output.say(CAUTION)
    for line in left:
        output.say(f"open: {line}")
    output.say(
        f"{out / 'index.html'}: {counted(len(made), 'file')}, {counted(len(left), 'thing')} open"
    )
    output.document(
        ok=not left, folder=str(out), files=sorted(made), manifest=MANIFEST, open=list(left)
    )
    return Exit.FINDINGS if left else Exit.GOOD


def _gather(path: Path, loaded: Loaded, asked: PackAsked, by: str = "") -> Pack:
    """Read everything that a pack is made from.

    Raises:
        BookFailed: the book is damaged.
    """
    entries = read_book(book_path(asked.book, loaded.cell.cell))
    found = _read_journals(loaded, asked.runs)
    root = root_of(path)
    return Pack(
        cell=loaded.cell.cell,
        text=loaded.cell.text,
        sequence=loaded.plan.name,
        by=by,
        at=to_time(time.time_ns() // 1_000),
        cautions=(CAUTION,),
        points=sheet_of(points_of(loaded), entries),
        matrix=rows_of(matrix_of(loaded.plan), entries),
        book=entries,
        asides=tuple(found.asides),
        signed=tuple(found.signed),
        cycles=tuple(found.cycles),
        files=tuple((name, (root / name).read_bytes()) for name, _ in loaded.files),
        unread=tuple(found.unread),
    )


def _read_journals(loaded: Loaded, folders: Sequence[Path]) -> _Journals:
    """Read every journal of the cell below these folders, whatever sequence it is of."""
    made = _Journals()
    paths = sorted({one for folder in folders for one in folder.glob(f"*/{FILE_NAME}")})
    for path in paths:
        try:
            with contextlib.closing(Journal.open(path)) as journal:
                if (wrong := journal.verify()) is not None:
                    made.unread.append(wrong)
                else:
                    _read_journal(made, loaded, journal)
        except JournalFailed as error:
            made.unread.append(str(error))
    return made


def _read_journal(made: _Journals, loaded: Loaded, journal: Journal) -> None:
    head = journal.head
    pinned = load_pinned(head)
    if pinned is None:
        made.unread.append(f"{journal.path}: its files do not load any more")
        return
    if pinned.cell.cell != loaded.cell.cell:
        return
    plan = hurried(pinned.plan, speed_of(head))
    decided = list(replay_steps(plan, journal))
    registers = registers_of(plan, head.run, head.origin_us, decided)
    made.asides += registers.asides
    made.signed += registers.signed
    phase = decided[-1][2].phase if decided else "idle"
    stood = standings_words(head.standings) or ("SIMULATED" if head.simulated else "REAL")
    made.cycles.append(cycle_of(head.run, phase, stood, build(plan, decided)))


def _write(out: Path, made: dict[str, bytes]) -> None:
    """Write the whole pack, or nothing of it."""
    part = out.with_name(f".{out.name}.part")
    shutil.rmtree(part, ignore_errors=True)
    for name, content in made.items():
        target = part / name
        if not target.resolve().is_relative_to(part.resolve()):
            raise ValueError(f"{name}: a file of the pack must lie below its folder")
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)
    if out.exists():
        out.rmdir()
    os.replace(part, out)
