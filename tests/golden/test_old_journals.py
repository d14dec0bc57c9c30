"""Journals of earlier versions replay: each stored one, as it was written, to where it led.

From the first release on, files are added for each new format and never changed. Until then
`--update` writes the one of today's format anew; a change of what the core decides needs it, and
means that a run begun before the change is refused by `resume` with JNL006.
"""

from pathlib import Path

import pytest

from coordinator.operate.pinned import unpack
from coordinator.records.journal import FORMAT, FORMAT_LINE, Journal, JournalFailed
from coordinator.records.replaying import replay
from coordinator.sequence import load
from tests.support.old_journals import journal_of_today, told_by

STORED = Path(__file__).parent / "journals"
JOURNALS = sorted({*STORED.glob("*.journal"), STORED / f"format_{FORMAT}.journal"})


@pytest.mark.parametrize("path", JOURNALS, ids=lambda path: path.stem)
def test_a_journal_of_an_earlier_version_leads_to_where_it_led(
    pytestconfig: pytest.Config, tmp_path: Path, path: Path
) -> None:
    """Whoever updates the program in the middle of a job must be able to go on with it."""
    is_todays = path.stem == f"format_{FORMAT}"
    if pytestconfig.getoption("--update") and is_todays:
        path.write_bytes(journal_of_today(tmp_path))
    journal = Journal.open(path)
    loaded = load(unpack(journal.head, tmp_path / "pinned"))

    found = told_by(replay(loaded.plan, journal))

    if pytestconfig.getoption("--update") and is_todays:
        path.with_suffix(".journal.txt").write_text(found, encoding="utf-8")
    assert journal.verify() is None
    assert found == path.with_suffix(".journal.txt").read_text(encoding="utf-8")
    journal.close()


def test_a_journal_of_a_later_version_is_refused_in_words(tmp_path: Path) -> None:
    """A program that guesses at a newer file would resume on what it has not understood."""
    content = (STORED / f"format_{FORMAT}.journal").read_bytes()
    later = b"bothsides-journal:99\n" + content[len(FORMAT_LINE) :]
    path = tmp_path / "journal.log"
    path.write_bytes(later)

    with pytest.raises(JournalFailed, match=r"format '99'.*version that wrote it \[JNL002\]"):
        Journal.open(path)
