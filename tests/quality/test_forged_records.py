"""Somebody who can write store and journal, and knows this program, cannot change what was signed.

He recomputes every digest of the chain. He lacks the key, and the head that was kept elsewhere.
"""

import contextlib
import json
import shutil
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import create_engine, delete, insert, select, update
from typer.testing import CliRunner, Result

from coordinator.cli.app import app
from coordinator.operate.head_audit import sign_head
from coordinator.records.journal import FILE_NAME, Journal
from coordinator.records.signed_heads import key_path, read_head, signed
from coordinator.records.store import RecordStore, _digest
from coordinator.records.tables import CHAINED, HEAD, RECORDS
from tests.support.sequence_files import SEQUENCES

Rows = list[tuple[str, dict[str, Any]]]


@dataclass(frozen=True, slots=True)
class Site:
    """A folder of runs, and what was kept elsewhere."""

    out: Path
    run: str
    head: Path
    key: Path

    @property
    def journal(self) -> Path:
        """The journal of the run."""
        return self.out / self.run / FILE_NAME


def rehearse_into(out: Path, case: str) -> str:
    """Leave records and journal of a rehearsal, as a run does, and return its name."""
    words = ["dryrun", str(SEQUENCES / "makeup_8.yaml"), "--out", str(out), "--json"]
    CliRunner().invoke(app, [*words, "--case", str(SEQUENCES / "cases" / f"{case}.yaml")])
    return next(path.parent.name for path in out.glob(f"*/{FILE_NAME}"))


@pytest.fixture(scope="module")
def signed_site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    folder = tmp_path_factory.mktemp("site")
    run = rehearse_into(folder / "out", "low_supply_aft")
    store = RecordStore(f"sqlite:///{folder / 'out' / 'records.sqlite'}")
    path = sign_head(store, folder / "out" / run, run)
    store.close()
    kept = folder / "kept"
    kept.mkdir()
    shutil.copy(path, kept / "head.json")
    shutil.copy(key_path().with_suffix(".pub"), kept / "records.pub")
    return Site(folder / "out", run, kept / "head.json", kept / "records.pub")


@pytest.fixture
def site(signed_site: Site, tmp_path: Path) -> Site:
    """A copy to forge in."""
    shutil.copytree(signed_site.out, tmp_path / "out")
    return Site(tmp_path / "out", signed_site.run, signed_site.head, signed_site.key)


def verify(site: Site) -> Result:
    """Verify with what was kept elsewhere."""
    words = ["records", "verify", "--out", str(site.out), "--json"]
    return CliRunner().invoke(app, [*words, "--head", str(site.head), "--key", str(site.key)])


def rewrite(site: Site, change: Callable[[Rows], Rows]) -> None:
    """Change rows at will and compute numbers, digests and head anew, as the program would."""
    engine = create_engine(f"sqlite:///{site.out / 'records.sqlite'}")
    with engine.begin() as connection:
        rows = [
            (int(row["seq"]), table.name, dict(row))
            for table in CHAINED
            for row in connection.execute(select(table)).mappings()
        ]
        kept = change([(name, row) for _, name, row in sorted(rows, key=lambda one: one[0])])
        for table in CHAINED:
            connection.execute(delete(table))
        last = ""
        for number, (name, row) in enumerate(kept, 1):
            row["seq"] = number
            row["digest"] = last = _digest(last, name, row)
            connection.execute(insert({one.name: one for one in CHAINED}[name]).values(**row))
        connection.execute(update(HEAD).values(seq=len(kept), digest=last))
    engine.dispose()


def on_record(**values: Any) -> Callable[[Rows], Rows]:
    """Change the last finished pull."""

    def change(rows: Rows) -> Rows:
        _, row = [one for one in rows if one[1].get("kind") == "pull"][-1]
        row.update(values)
        return rows

    return change


def on_all(**values: Any) -> Callable[[Rows], Rows]:
    """Change every record."""

    def change(rows: Rows) -> Rows:
        for name, row in rows:
            if name == RECORDS.name:
                row.update(values)
        return rows

    return change


def without_rejected(rows: Rows) -> Rows:
    """Take out what was not accepted."""
    return [one for one in rows if one[1].get("verdict") in (None, "accepted")]


def with_one_more(rows: Rows) -> Rows:
    """Invent a pull that never was."""
    name, row = next(one for one in rows if one[1].get("kind") == "pull")
    return [*rows, (name, {**row, "command": 9_999, "round": 3, "outcome": "finished"})]


def ended_well(rows: Rows) -> Rows:
    """Say that the run completed."""
    for _, row in rows:
        if "phase" in row:
            row.update(phase="complete", reason="")
    return rows


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (on_record(torque_nm=3114.0), "torque_nm is 3114.0, was "),
        (on_record(outcome="finished", fault=""), "outcome is finished, was "),
        (on_record(verdict="accepted", reasons=[]), "was signed over other rows"),
        (on_record(bolt=2), "bolt is 2, was "),
        (on_record(trace_torque_nm=[0.0, 1500.0, 3114.0]), "was signed over other rows"),
        (on_record(tool="another wrench"), "was signed over other rows"),
        (on_all(simulated=False), "simulated is False, was True by the journal"),
        (on_all(at="2030-01-01T00:00:00Z"), "was signed over other rows"),
        (without_rejected, "the journal has a record"),
        (with_one_more, "that the journal knows nothing of"),
        (ended_well, "was signed over other rows"),
        (lambda rows: rows[:10], "counts more rows than the 10 there are"),
        (lambda rows: [], "counts more rows than the 0 there are"),
    ],
    ids=[
        *("torque", "outcome", "verdict", "bolt", "trace", "tool", "simulated", "dates"),
        *("rejected taken out", "one put in", "ended well", "an older store", "emptied"),
    ],
)
def test_whoever_recomputes_every_digest_is_found(
    site: Site, change: Callable[[Rows], Rows], words: str
) -> None:
    """RC13: a chain without a key is no evidence; what was changed is said."""
    rewrite(site, change)

    done = verify(site)

    told = json.loads(done.stdout)["findings"]
    assert done.exit_code == 1
    assert any(words in one for one in told), told


def test_what_nobody_touched_is_whole(site: Site) -> None:
    """RC13: with the head that was kept, and with the one that lies beside it."""
    done = verify(site)

    assert done.exit_code == 0, done.stdout
    assert json.loads(done.stdout)["signed_heads"] == 2


def test_a_run_that_this_version_decides_otherwise_is_no_finding(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    """RC13: after an upgrade old runs stay whole by chain and head; what was not done is said."""
    monkeypatch.setattr("coordinator.operate.head_audit.load_pinned", lambda head: None)

    done = verify(site)

    assert done.exit_code == 0
    assert "the run was not compared" in json.loads(done.stdout)["not_compared"][0]


def test_a_journal_of_another_run_does_not_pass(site: Site, tmp_path: Path) -> None:
    """RC13: a good run's journal and store in the place of a bad one's."""
    other = rehearse_into(tmp_path / "other", "burr_on_bolt_3")
    shutil.copy(tmp_path / "other" / other / FILE_NAME, site.journal)
    shutil.copy(tmp_path / "other" / "records.sqlite", site.out / "records.sqlite")

    done = verify(site)

    assert done.exit_code == 1
    assert any("over another journal" in one for one in json.loads(done.stdout)["findings"])


def test_a_journal_that_was_cut_short_is_found(site: Site) -> None:
    """RC13: its last commits are taken away, frame by frame, so that it reads as whole."""
    content = site.journal.read_bytes()
    with contextlib.closing(Journal.open(site.journal)) as journal:
        last = journal.digests()[0].encode()
    shorter = content[: content.index(last) + len(last) + 1]
    site.journal.write_bytes(shorter.ljust(len(content), b"\0"))

    done = verify(site)

    assert done.exit_code == 1
    assert "commits of its journal, there are" in done.stdout


def test_a_head_that_is_signed_with_another_key_counts_for_nothing(site: Site) -> None:
    """RC13: the forger signs what he wrote with a key of his own."""
    rewrite(site, on_record(torque_nm=3114.0))
    for path in site.out.glob("*/head_*.json"):
        path.write_text(signed(read_head(path), Ed25519PrivateKey.generate()).to_text())

    done = verify(site)

    assert done.exit_code == 1
    assert "is not signed by this key" in done.stdout


def test_a_head_whose_numbers_were_changed_is_not_signed(site: Site) -> None:
    """RC13: fewer rows, so that the older store fits."""
    for path in site.out.glob("*/head_*.json"):
        path.write_text(path.read_text().replace('"rows": ', '"rows": 1'))

    assert "is not signed by this key" in verify(site).stdout


def test_a_store_that_is_no_database_is_refused_with_words(site: Site) -> None:
    """Bad input is told, never a traceback."""
    (site.out / "records.sqlite").write_bytes(b"no database at all" * 100)

    done = verify(site)

    assert done.exit_code in (1, 2)
    assert "Traceback" not in done.output
    with pytest.raises(sqlite3.DatabaseError):
        sqlite3.connect(site.out / "records.sqlite").execute("select * from records")
