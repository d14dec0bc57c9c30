"""The journal: durable order, a chain that shows every change, replay to the same effects."""

import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from coordinator.core.effects import Effect
from coordinator.core.events import CommandFinished, Event, PartySeen, TimePassed
from coordinator.core.state import State
from coordinator.live.coordinator import Coordinator, Observers
from coordinator.live.operator import OperatedCoordinator, OperatorScript
from coordinator.records.journal import (
    Head,
    Journal,
    JournalFailed,
    PinnedFile,
    replay,
    replay_steps,
)
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


def written(folder: Path) -> Path:
    path = folder / "journal.sqlite"
    journal = Journal.create(path, HEAD)
    for event in EVENTS:
        journal.append(event)
    journal.close()
    return path


def test_a_journal_gives_back_its_head_and_its_events(tmp_path: Path) -> None:
    """Everything that a resumed run needs stands in the one file."""
    journal = Journal.open(written(tmp_path))

    assert journal.head == HEAD
    assert tuple(journal.read_events()) == EVENTS
    assert journal.verify() is None
    journal.close()


@pytest.mark.parametrize(
    ("change", "bad"),
    [
        ("UPDATE head SET body = replace(body, 'run_1', 'run_2')", 0),
        ("UPDATE head SET body = replace(body, 'bolts: 8', 'bolts: 6')", 0),
        ("UPDATE head SET digest = replace(digest, substr(digest, 1, 1), 'x')", 0),
        ("UPDATE entry SET at_us = at_us + 1 WHERE seq = 2", 2),
        ("UPDATE entry SET kind = 'PartyHeld' WHERE seq = 1", 1),
        ("UPDATE entry SET body = replace(body, '998', '999') WHERE seq = 3", 3),
        ("UPDATE entry SET body = body || ' ' WHERE seq = 3", 3),
        ("UPDATE entry SET digest = 'x' WHERE seq = 2", 2),
        ("UPDATE entry SET seq = 9 WHERE seq = 2", 2),
        ("DELETE FROM entry WHERE seq = 1", 1),
        ("DELETE FROM entry WHERE seq = 3", 3),
        ("DELETE FROM entry", 1),
        ("INSERT INTO entry VALUES (4, 4, 'TimePassed', '{\"at_us\":4}', 'x')", 4),
        ("UPDATE tail SET seq = 2", 4),
        ("UPDATE tail SET digest = 'x'", 4),
        ("DELETE FROM tail", 4),
    ],
)
def test_any_changed_field_is_named_by_its_entry(tmp_path: Path, change: str, bad: int) -> None:
    """The chain covers every column of every row, the head and the tail."""
    path = written(tmp_path)
    journal = Journal.open(path)
    with sqlite3.connect(path) as other:
        assert other.execute(change).rowcount >= 1
    other.close()

    assert journal.verify() == bad
    journal.close()


def test_every_flipped_byte_of_every_field_is_found(tmp_path: Path) -> None:
    """One separator outside a chain is enough to let a change pass, so every byte is tried."""
    path = written(tmp_path)
    journal = Journal.open(path)
    tried = 0
    with sqlite3.connect(path, isolation_level=None) as other:
        rows = other.execute("SELECT seq, kind, body, digest FROM entry").fetchall()
        for seq, *texts in rows:
            for column, text in zip(("kind", "body", "digest"), texts, strict=True):
                for place in range(len(text)):
                    flipped = text[:place] + chr(ord(text[place]) ^ 1) + text[place + 1 :]
                    update = f"UPDATE entry SET {column} = ? WHERE seq = ?"
                    other.execute(update, (flipped, seq))
                    assert journal.verify() == seq, (column, place)
                    other.execute(update, (text, seq))
                    tried += 1
    other.close()

    assert tried == sum(len(text) for _, *texts in rows for text in texts)
    assert journal.verify() is None
    journal.close()


def test_what_was_not_committed_is_gone_and_the_rest_is_sound(tmp_path: Path) -> None:
    """A crash before the commit leaves a journal without the event, not half of one."""
    path = tmp_path / "journal.sqlite"
    journal = Journal.create(path, HEAD)
    journal.append(EVENTS[0])
    journal.commit()
    journal.append(EVENTS[1])

    reader = Journal.open(path)

    assert tuple(reader.read_events()) == EVENTS[:1]
    assert reader.verify() is None
    reader.close()
    journal.close()


def test_a_journal_that_cannot_be_written_fails_for_good(tmp_path: Path) -> None:
    """J3: after a failure nobody knows what is on the disk, so nothing is tried again."""
    path = written(tmp_path)
    journal = Journal.open(path)
    journal._connection.execute("PRAGMA busy_timeout = 0")
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")

    with pytest.raises(JournalFailed, match="JNL001"):
        journal.append(EVENTS[0])
    other.execute("ROLLBACK")
    other.close()

    with pytest.raises(JournalFailed, match="failed before"):
        journal.append(EVENTS[0])
    with pytest.raises(JournalFailed, match="failed before"):
        journal.commit()
    journal.close()


def test_a_resumed_journal_goes_on_in_the_same_chain(tmp_path: Path) -> None:
    """A resumed run is one run; each opening is noted with its epoch."""
    path = written(tmp_path)
    journal = Journal.open(path)

    journal.mark_opened(8, 3, "2030-01-02T00:00:00Z")
    journal.append(TimePassed(4))
    journal.close()

    again = Journal.open(path)
    assert (*again.read_events(),) == (*EVENTS, TimePassed(4))
    assert again.last_epoch() == 8
    assert again.verify() is None
    again.close()


def test_a_second_journal_never_overwrites_the_first(tmp_path: Path) -> None:
    """A run's history must not be lost to a repeated name."""
    path = written(tmp_path)

    with pytest.raises(JournalFailed, match="exists already"):
        Journal.create(path, HEAD)


@pytest.mark.parametrize("content", [b"", b"no journal at all, only words"])
def test_a_file_that_is_no_journal_is_refused(tmp_path: Path, content: bytes) -> None:
    """The message must come from us, not from a stack of the database."""
    path = tmp_path / "journal.sqlite"
    path.write_bytes(content)

    with pytest.raises(JournalFailed, match="JNL001"):
        Journal.open(path)


def test_a_replay_gives_the_same_effects_and_the_same_state(tmp_path: Path) -> None:
    """J2: the journal is the run."""
    plan = small_plan()
    decided: list[tuple[Event, tuple[Effect, ...], State]] = []
    journal = Journal.create(tmp_path / "journal.sqlite", HEAD)
    observers = Observers(journal, None, (lambda *one: decided.append(one),))
    coordinator = Coordinator(plan, observers=observers)
    fore = ObedientParty("fore", faults={"pull": 1})
    operated = OperatedCoordinator(coordinator, OperatorScript(plan))
    play([operated, fore, ObedientParty("aft")], until_us=5_000_000)
    journal.close()

    again = Journal.open(tmp_path / "journal.sqlite")

    assert list(replay_steps(plan, again)) == decided
    assert replay(plan, again) == coordinator.state
    assert len(decided) > 20
    again.close()


def test_a_replay_with_another_plan_is_refused(tmp_path: Path) -> None:
    """Files are pinned: a changed plan would tell another story of the same events."""
    journal = Journal.open(written(tmp_path))

    with pytest.raises(JournalFailed, match="JNL004"):
        replay(replace(small_plan(), digest="e" * 64), journal)
    journal.close()
