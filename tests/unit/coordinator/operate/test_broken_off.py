"""How a run is left that a full disk or a lost broker breaks off."""

from pathlib import Path

import pytest

from coordinator.live.link import LinkUnreachable
from coordinator.operate.broken_off import left_held
from coordinator.records.journal import Head, Journal, JournalFailed
from coordinator.records.store import RecordsFailed
from tests.support.disks import MemoryDisk


def failed_journal(name: str) -> JournalFailed:
    """Return what a journal raises on a disk that fails in this way."""
    disk = MemoryDisk()
    journal = Journal.create_on(disk, Path("journal.log"), Head("run_1", "d" * 64))
    disk.fails = lambda operation: name
    with pytest.raises(JournalFailed) as caught:
        journal.mark_opened(1, 0, "")
    return caught.value


def test_a_full_disk_says_free_space_then_resume(tmp_path: Path) -> None:
    """What a person has to do comes with it, and in which order."""
    outcome = left_held(failed_journal("enospc"), tmp_path, "run_1")

    assert outcome.phase == "held"
    assert outcome.reason == (
        f"held: the disk of {tmp_path} is full; free space, then resume with: "
        "bothsides resume run_1"
    )


def test_a_disk_that_fails_otherwise_says_what_failed(tmp_path: Path) -> None:
    """Freeing space mends no broken disk."""
    outcome = left_held(failed_journal("eio"), tmp_path, "run_1")

    assert "free space" not in outcome.reason
    assert "journal.log" in outcome.reason
    assert "then resume with: bothsides resume run_1" in outcome.reason


@pytest.mark.parametrize("text", ["database or disk is full", "No space left on device"])
def test_a_record_store_on_a_full_disk_says_the_same(tmp_path: Path, text: str) -> None:
    """Records lie on the same disk as the journal."""
    outcome = left_held(RecordsFailed(f"records: {text} [REC001]"), tmp_path, "run_1")

    assert "free space, then resume with: bothsides resume run_1" in outcome.reason


def test_a_broker_that_is_gone_says_where_and_how_to_go_on(tmp_path: Path) -> None:
    """The run was taken up already, so it is left held."""
    outcome = left_held(LinkUnreachable("no MQTT broker answers at x [LNK005]"), tmp_path, "run_1")

    assert outcome.phase == "held"
    assert outcome.reason.startswith("no MQTT broker answers at x")
    assert outcome.reason.endswith("then resume with: bothsides resume run_1")
