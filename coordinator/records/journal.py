"""Keep every event of a run in order, durable before its effects leave, each chained to the last.

The chain finds damage and careless change; it does not stop somebody who computes it anew. Who
needs that keeps the last digest elsewhere (`Journal.digest`).

Units: ``*_us`` whole microseconds since the run began; `origin_us` on the cell's clock.
Keeps: J1, what `commit` returned from is on the disk; J3, a failure is final: the journal takes
nothing any more, since what a failed sync left behind nobody knows.
Source: SQLite, documentation of PRAGMA synchronous and of write-ahead logging: FULL syncs the log
at each commit.
"""

import hashlib
import json
import sqlite3
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from coordinator.core.decide import begin, decide
from coordinator.core.effects import Effect
from coordinator.core.events import Event
from coordinator.core.plan import Plan
from coordinator.core.state import State
from coordinator.records.event_codec import canonical, decode_event, encode_event

FORMAT = 1
OPENED = "opened"
"""Kind of the row that marks each opening; not an event."""
BUSY_S = 2.0
"""Chosen: a reader's checkpoint may stand in the way for a moment; longer means trouble."""

_TABLES = """
CREATE TABLE head (id INTEGER PRIMARY KEY CHECK (id = 1), body TEXT NOT NULL, digest TEXT NOT NULL);
CREATE TABLE entry (
    seq INTEGER PRIMARY KEY, at_us INTEGER NOT NULL, kind TEXT NOT NULL,
    body TEXT NOT NULL, digest TEXT NOT NULL
);
CREATE TABLE tail (id INTEGER PRIMARY KEY CHECK (id = 1), seq INTEGER NOT NULL,
    digest TEXT NOT NULL);
"""


class JournalFailed(Exception):  # noqa: N818 (it says what happened)
    """The journal cannot be written or read; fatal, never tried again. Code JNL001."""


@dataclass(frozen=True, slots=True)
class PinnedFile:
    """A file that the plan was made from, kept whole so that a change can be shown."""

    name: str
    sha256: str
    content: str

    @classmethod
    def of(cls, name: str, content: str) -> "PinnedFile":
        """Pin a file by what stands in it."""
        return cls(name, hashlib.sha256(content.encode()).hexdigest(), content)


@dataclass(frozen=True, slots=True)
class Head:
    """What a run is, fixed before its first event."""

    run: str
    plan_digest: str
    files: tuple[PinnedFile, ...] = ()
    seed: int = 0
    origin_us: int = 0
    started: str = ""
    """UTC, RFC 3339."""
    simulated: bool = True
    format: int = FORMAT
    first_command: int = 0
    """The number that the run's commands are counted from; see `core.begin`."""


class Journal:
    """One run's journal, `journal.sqlite` in the run's folder; `create` or `open` it."""

    def __init__(self, connection: sqlite3.Connection, path: Path, head: Head) -> None:
        self.path = path
        self.head = head
        self.seq = 0
        self.digest = ""
        """Digest of the last entry, appended or read."""
        self.is_failed = False
        self._connection = connection

    @classmethod
    def create(cls, path: Path, head: Head) -> "Journal":
        """Make a new journal.

        Raises:
            JournalFailed: JNL001, it exists already or cannot be written.
        """
        if path.exists():
            raise JournalFailed(f"{path}: exists already; resume it or name another run [JNL001]")
        connection = _connect(path)
        try:
            connection.executescript(_TABLES)
            journal = cls(connection, path, head)
            body = canonical(asdict(head))
            journal.digest = _chain("", body)
            connection.execute("BEGIN IMMEDIATE")
            connection.execute("INSERT INTO head VALUES (1, ?, ?)", (body, journal.digest))
            connection.execute("INSERT INTO tail VALUES (1, 0, ?)", (journal.digest,))
            connection.execute("COMMIT")
        except (sqlite3.Error, OSError) as error:
            connection.close()
            raise _failed(path, error) from error
        return journal

    @classmethod
    def open(cls, path: Path) -> "Journal":
        """Open a journal to read it, to verify it, or to go on with it.

        Raises:
            JournalFailed: JNL001, it is not there or not a journal; JNL002, of another format.
        """
        if not path.is_file():
            raise JournalFailed(f"{path}: no journal is there [JNL001]")
        connection = _connect(path)
        try:
            (body,) = connection.execute("SELECT body FROM head").fetchone()
            head = _read_head(body)
            journal = cls(connection, path, head)
            row = connection.execute("SELECT seq, digest FROM tail").fetchone()
            journal.seq, journal.digest = int(row[0]), str(row[1])
        except (sqlite3.Error, OSError, TypeError, ValueError, KeyError) as error:
            connection.close()
            raise _failed(path, error) from error
        if head.format != FORMAT:
            raise JournalFailed(f"{path}: format {head.format}, must be {FORMAT} [JNL002]")
        return journal

    def append(self, event: Event) -> None:
        """Take an event in; it is durable after the next `commit`.

        Raises:
            JournalFailed: JNL001; final.
        """
        kind, body = encode_event(event)
        self._append(event.at_us, kind, body)

    def mark_opened(self, epoch: int, at_us: int, wall: str) -> None:
        """Note durably that a coordinator of `epoch` goes on from here; `wall` is UTC."""
        self._append(at_us, OPENED, canonical({"epoch": epoch, "wall": wall}))
        self.commit()

    def commit(self) -> None:
        """Make everything appended durable; returns once it is on the disk.

        Raises:
            JournalFailed: JNL001; final.
        """
        self._require_sound()
        try:
            if self._connection.in_transaction:
                self._connection.execute(
                    "UPDATE tail SET seq = ?, digest = ?", (self.seq, self.digest)
                )
                self._connection.execute("COMMIT")
        except (sqlite3.Error, OSError) as error:
            self.is_failed = True
            raise _failed(self.path, error) from error

    def close(self) -> None:
        """Commit what is left and close; a failed journal is only closed."""
        try:
            if not self.is_failed:
                self.commit()
        finally:
            self._connection.close()

    def verify(self) -> int | None:
        """Return the number of the first bad entry, None if all are sound.

        Returns:
            0 for the head; one beyond the last for a tail that was cut.
        """
        good = -1
        try:
            body, digest = self._connection.execute("SELECT body, digest FROM head").fetchone()
            last = _chain("", body)
            if digest != last:
                return 0
            good = 0
            for seq, at_us, kind, text, digest in self._rows():
                last = _chain(last, seq, at_us, kind, text)
                if seq != good + 1 or digest != last:
                    return good + 1
                good = seq
            tail = self._connection.execute("SELECT seq, digest FROM tail").fetchone()
        except (sqlite3.Error, TypeError, ValueError):
            return good + 1  # Unreadable pages are as bad as changed ones.
        if self._connection.in_transaction:
            return None if (good, last) == (self.seq, self.digest) else good + 1
        return None if tail == (good, last) else good + 1

    def require_sound(self) -> int:
        """Verify before going on; entries that were never committed are cut off.

        Returns:
            How many entries of a torn tail were cut.

        Raises:
            JournalFailed: JNL005, something else is wrong; the first bad entry is named.
        """
        bad = self.verify()
        if bad is None:
            return 0
        torn = self._torn_entries()
        if torn == 0:
            what = "the head" if bad == 0 else f"entry {bad}"
            raise JournalFailed(
                f"{self.path}: {what} is damaged or missing; nothing can be resumed on it, "
                "fetch a copy or begin a new run [JNL005]"
            )
        try:
            self._connection.execute("DELETE FROM entry WHERE seq > ?", (self.seq,))
        except sqlite3.Error as error:
            self.is_failed = True
            raise _failed(self.path, error) from error
        return torn

    def _torn_entries(self) -> int:
        """Return how many entries stand behind a sound tail; 0 if what is wrong lies before it."""
        try:
            body, digest = self._connection.execute("SELECT body, digest FROM head").fetchone()
            last, good, beyond = _chain("", body), 0, 0
            if digest != last:
                return 0
            for seq, at_us, kind, text, digest in self._rows():
                if good == self.seq:
                    beyond += 1  # Each commit moves the tail, so that these never were in one.
                    continue
                last = _chain(last, seq, at_us, kind, text)
                if seq != good + 1 or digest != last:
                    return 0
                good = seq
        except (sqlite3.Error, TypeError, ValueError):
            return 0
        return beyond if (good, last) == (self.seq, self.digest) else 0

    def read_events(self) -> Iterator[Event]:
        """Yield the events in order.

        Raises:
            JournalFailed: JNL001 unreadable; JNL003 an entry is no event of this version.
        """
        try:
            for seq, _, kind, body, _ in self._rows():
                if kind != OPENED:
                    yield _read_event(self.path, seq, kind, body)
        except sqlite3.Error as error:
            raise _failed(self.path, error) from error

    def last_epoch(self) -> int:
        """Return the largest epoch noted so far, 0 for none."""
        query = "SELECT max(json_extract(body, '$.epoch')) FROM entry WHERE kind = ?"
        (epoch,) = self._connection.execute(query, (OPENED,)).fetchone()
        return int(epoch or 0)

    def _rows(self) -> Iterator[tuple[int, int, str, str, str]]:
        yield from self._connection.execute(
            "SELECT seq, at_us, kind, body, digest FROM entry ORDER BY seq"
        )

    def _append(self, at_us: int, kind: str, body: str) -> None:
        self._require_sound()
        seq, digest = self.seq + 1, _chain(self.digest, self.seq + 1, at_us, kind, body)
        try:
            if not self._connection.in_transaction:
                self._connection.execute("BEGIN IMMEDIATE")
            self._connection.execute(
                "INSERT INTO entry VALUES (?, ?, ?, ?, ?)", (seq, at_us, kind, body, digest)
            )
        except (sqlite3.Error, OSError) as error:
            self.is_failed = True
            raise _failed(self.path, error) from error
        self.seq, self.digest = seq, digest

    def _require_sound(self) -> None:
        if self.is_failed:
            raise JournalFailed(
                f"{self.path}: failed before; open it again and verify it first [JNL001]"
            )


def replay_steps(plan: Plan, journal: Journal) -> Iterator[tuple[Event, tuple[Effect, ...], State]]:
    """Decide a journal's events again and yield each with its effects and the state after it."""
    state = begin(plan, journal.head.first_command)
    for event in journal.read_events():
        state, effects = decide(plan, state, event)
        yield event, effects, state


def replay(plan: Plan, journal: Journal) -> State:
    """Return the state that a journal leads to.

    Raises:
        JournalFailed: JNL004, the journal was written for another plan.
    """
    if journal.head.plan_digest != plan.digest:
        raise JournalFailed(
            f"{journal.path}: of plan {journal.head.plan_digest[:12]}, "
            f"given is {plan.digest[:12]}; compare the files [JNL004]"
        )
    state = begin(plan, journal.head.first_command)
    for _, _, after in replay_steps(plan, journal):
        state = after
    return state


def _connect(path: Path) -> sqlite3.Connection:
    try:
        # Autocommit mode: transactions are begun and ended here and nowhere behind our back.
        connection = sqlite3.connect(
            path, timeout=BUSY_S, isolation_level=None, check_same_thread=False
        )
    except (sqlite3.Error, OSError) as error:
        raise _failed(path, error) from error
    try:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
    except sqlite3.Error as error:
        connection.close()
        raise _failed(path, error) from error
    return connection


def _chain(previous: str, *parts: object) -> str:
    """Return the digest of the previous digest and all parts, their borders included."""
    return hashlib.sha256(canonical([previous, *parts]).encode()).hexdigest()


def _read_head(body: str) -> Head:
    values: dict[str, Any] = json.loads(body)
    values["files"] = tuple(PinnedFile(**entry) for entry in values["files"])
    return Head(**values)


def _read_event(path: Path, seq: int, kind: str, body: str) -> Event:
    try:
        return decode_event(kind, body)
    except ValueError as error:
        raise JournalFailed(f"{path}: entry {seq}: {error} [JNL003]") from None


def _failed(path: Path, error: BaseException) -> JournalFailed:
    return JournalFailed(f"{path}: {error}; the journal is closed for good, verify it [JNL001]")
