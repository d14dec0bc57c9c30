"""The journal: durable order, a chain that shows every change, replay to the same effects."""

from dataclasses import replace
from pathlib import Path

import pytest

from coordinator.core.effects import Effect
from coordinator.core.events import CommandFinished, Event, PartySeen, TimePassed
from coordinator.core.state import State
from coordinator.live.coordinator import Coordinator, Observers
from coordinator.live.operator import OperatedCoordinator, OperatorScript
from coordinator.records.journal import (
    FORMAT,
    FORMAT_LINE,
    Head,
    Journal,
    JournalFailed,
    PinnedFile,
)
from coordinator.records.replaying import replay, replay_steps
from tests.support.disks import MemoryDisk
from tests.support.obedient import ObedientParty, play
from tests.support.small_plan import small_plan

HEAD = Head(
    "run_1", "d" * 64, (PinnedFile.of("joint.yaml", "bolts: 8\n"),), 5, 7, "2030-01-01T00:00:00Z"
)
EVENTS: tuple[Event, ...] = (
    PartySeen(1, 0, 7, 0),
    TimePassed(2),
    CommandFinished(3, 0, 1, (("torque_nm", 998.0000000000001),)),
)
NAME = Path("journal.log")


def written(folder: Path) -> Path:
    path = folder / NAME
    journal = Journal.create(path, HEAD)
    for event in EVENTS:
        journal.append(event)
    journal.close()
    return path


def on_disk(events: tuple[Event, ...] = EVENTS) -> MemoryDisk:
    """Return a disk with a journal of one commit for each event."""
    disk = MemoryDisk()
    journal = Journal.create_on(disk, NAME, HEAD)
    for event in events:
        journal.append(event)
        journal.commit()
    return disk


def test_a_journal_gives_back_its_head_and_its_events(tmp_path: Path) -> None:
    """Everything that a resumed run needs stands in the one file."""
    journal = Journal.open(written(tmp_path))

    assert journal.head == HEAD
    assert tuple(journal.read_events()) == EVENTS
    assert journal.verify() is None
    journal.close()


def test_what_was_not_committed_is_gone_and_the_rest_is_sound(tmp_path: Path) -> None:
    """A crash before the commit leaves a journal without the event, not half of one."""
    path = tmp_path / NAME
    journal = Journal.create(path, HEAD)
    journal.append(EVENTS[0])
    journal.commit()
    journal.append(EVENTS[1])

    reader = Journal.open(path)

    assert tuple(reader.read_events()) == EVENTS[:1]
    assert reader.verify() is None
    reader.close()
    journal.close()


def test_a_commit_has_been_synced_when_it_returns() -> None:
    """J4: what is only in the system's memory is lost with the power."""
    disk = MemoryDisk()
    asked: list[str] = []
    disk.fails = lambda operation: asked.append(operation) or ""  # type: ignore[func-returns-value]  # a list to write down what is asked
    journal = Journal.create_on(disk, NAME, HEAD)
    asked.clear()

    journal.append(EVENTS[0])
    assert asked == []
    journal.commit()

    assert asked == ["write", "sync"]


@pytest.mark.parametrize("operation", ["write", "sync"])
@pytest.mark.parametrize("error", ["eio", "enospc"])
def test_a_journal_that_cannot_be_written_fails_for_good(operation: str, error: str) -> None:
    """J3: after a failure nobody knows what is on the disk, so nothing is tried again."""
    disk = on_disk()
    journal = Journal.take_up_on(disk, NAME)
    disk.fails = lambda asked: error if asked == operation else ""
    journal.append(EVENTS[0])

    with pytest.raises(JournalFailed, match="JNL001"):
        journal.commit()
    disk.fails = lambda asked: ""

    with pytest.raises(JournalFailed, match="failed before"):
        journal.append(EVENTS[0])
    with pytest.raises(JournalFailed, match="failed before"):
        journal.commit()
    journal.close()


def test_a_full_disk_is_found_before_anything_is_written() -> None:
    """Room is taken first, so that a full disk leaves no half of a commit."""
    disk = on_disk()
    journal = Journal.take_up_on(disk, NAME)
    disk.fails = lambda asked: "enospc" if asked == "grow" else ""

    def commit_for_long() -> None:
        for _ in range(1000):
            journal.append(EVENTS[2])
            journal.commit()

    with pytest.raises(JournalFailed, match="enospc"):
        commit_for_long()

    assert Journal.open_on(disk, NAME).verify() is None


def test_a_disk_that_cannot_be_read_is_told() -> None:
    """An unreadable sector must not look like an empty journal."""
    disk = on_disk()
    disk.fails = lambda asked: "eio"

    with pytest.raises(JournalFailed, match="eio"):
        Journal.take_up_on(disk, NAME)


def test_a_resumed_journal_goes_on_in_the_same_chain(tmp_path: Path) -> None:
    """A resumed run is one run; each opening is noted with its epoch."""
    path = written(tmp_path)
    journal = Journal.take_up(path)

    journal.mark_opened(8, 3, "2030-01-02T00:00:00Z")
    journal.append(TimePassed(4))
    journal.close()

    again = Journal.open(path)
    assert (*again.read_events(),) == (*EVENTS, TimePassed(4))
    assert again.last_epoch() == 8
    assert again.verify() is None
    again.close()


def test_two_processes_never_write_one_journal(tmp_path: Path) -> None:
    """Two coordinators that resume the same run would both command."""
    path = written(tmp_path)
    journal = Journal.take_up(path)

    with pytest.raises(JournalFailed, match="another coordinator is at work on this run"):
        Journal.take_up(path)
    journal.close()

    Journal.take_up(path).close()


def test_a_journal_opened_to_read_takes_nothing(tmp_path: Path) -> None:
    """Whoever looks must not change what is looked at."""
    journal = Journal.open(written(tmp_path))

    with pytest.raises(JournalFailed, match="opened to read"):
        journal.append(EVENTS[0])
    journal.close()


def test_a_second_journal_never_overwrites_the_first(tmp_path: Path) -> None:
    """A run's history must not be lost to a repeated name."""
    path = written(tmp_path)

    with pytest.raises(JournalFailed, match="exists already"):
        Journal.create(path, HEAD)


@pytest.mark.parametrize("content", [b"", b"no journal at all, only words", b"SQLite format 3\0"])
def test_a_file_that_is_no_journal_is_refused(tmp_path: Path, content: bytes) -> None:
    """The message must come from us, not from a stack of a parser."""
    path = tmp_path / NAME
    path.write_bytes(content)

    with pytest.raises(JournalFailed, match="JNL001"):
        Journal.open(path)


def test_a_journal_of_a_later_format_is_refused_with_its_number() -> None:
    """A program that guesses at a newer file would resume on what it has not understood."""
    disk = on_disk()
    later = FORMAT_LINE.replace(str(FORMAT).encode(), str(FORMAT + 1).encode())
    disk.content[: len(FORMAT_LINE)] = later

    with pytest.raises(JournalFailed, match=rf"format '{FORMAT + 1}', must be {FORMAT} .*JNL002"):
        Journal.open_on(disk, NAME)


def test_a_damaged_journal_is_never_taken_up_and_the_commit_is_named() -> None:
    """What cannot be trusted must not be resumed on."""
    disk = on_disk()
    place = disk.content.index(b"PartySeen")
    disk.content[place] ^= 1

    with pytest.raises(JournalFailed, match=r"commit 1 is damaged.*JNL005"):
        Journal.take_up_on(disk, NAME)
    assert "commit 1 is damaged" in (Journal.open_on(disk, NAME).verify() or "")


def test_a_commit_that_a_crash_broke_off_is_cut_away_and_told() -> None:
    """Its effects never left, so that it never counted; what follows must not be mixed with it."""
    whole = on_disk()
    disk = on_disk(EVENTS[:2])
    end = len(bytes(disk.content).rstrip(b"\0"))
    disk.content[end : end + 40] = whole.content[end : end + 40]

    assert "commit 3 is broken off" in (Journal.open_on(disk, NAME).verify() or "")
    journal = Journal.take_up_on(disk, NAME)
    assert journal.torn_bytes == 40
    journal.append(TimePassed(9))
    journal.close()

    again = Journal.open_on(disk, NAME)
    assert again.verify() is None
    assert tuple(again.read_events()) == (*EVENTS[:2], TimePassed(9))


def test_a_replay_gives_the_same_effects_and_the_same_state(tmp_path: Path) -> None:
    """D1, J2: the journal is the run."""
    plan = small_plan()
    decided: list[tuple[Event, tuple[Effect, ...], State]] = []
    journal = Journal.create(tmp_path / NAME, replace(HEAD, plan_digest=plan.digest))
    observers = Observers(journal, None, (lambda *one: decided.append(one),))
    coordinator = Coordinator(plan, observers=observers)
    fore = ObedientParty("fore", faults={"pull": 1})
    operated = OperatedCoordinator(coordinator, OperatorScript(plan))
    play([operated, fore, ObedientParty("aft")], until_us=5_000_000)
    journal.close()

    again = Journal.open(tmp_path / NAME)

    assert list(replay_steps(plan, again)) == decided
    assert replay(plan, again).state == coordinator.state
    assert len(decided) > 20
    again.close()


def test_a_replay_that_decides_otherwise_is_refused(tmp_path: Path) -> None:
    """A program of other rules would go on from a state in which the arms are not."""
    plan = small_plan()
    head = replace(HEAD, plan_digest=plan.digest, first_command=0, program="0.0.7")
    journal = Journal.create(tmp_path / NAME, head)
    coordinator = Coordinator(plan, observers=Observers(journal))
    operated = OperatedCoordinator(coordinator, OperatorScript(plan))
    play([operated, ObedientParty("fore"), ObedientParty("aft")], until_us=5_000_000)
    journal.close()
    slower = replace(plan, timing=replace(plan.timing, renew_us=plan.timing.renew_us // 7))
    other = replace(slower, zones=(), nodes=tuple(reversed(plan.nodes)))

    again = Journal.open(tmp_path / NAME)
    with pytest.raises(JournalFailed, match=r"use version 0.0.7 \[JNL006\]"):
        replay(other, again)
    again.close()


def test_a_replay_with_another_plan_is_refused(tmp_path: Path) -> None:
    """Files are pinned: a changed plan would tell another story of the same events."""
    journal = Journal.open(written(tmp_path))

    with pytest.raises(JournalFailed, match="JNL004"):
        replay(replace(small_plan(), digest="e" * 64), journal)
    journal.close()
