"""Keep every event of a run in order, durable before its effects leave, each chained to the last.

The chain finds damage and careless change; it does not stop somebody who computes it anew. Who
needs that keeps the last digest elsewhere (`Journal.digest`).

Units: ``*_us`` whole microseconds since the run began; `origin_us` on the cell's clock.
Invariants: J3, a failure of the journal is final: it takes nothing any more, since what a failed
sync left behind nobody knows; J4, what `sync`, `commit` or `append` returned from is on the disk.
"""

import hashlib
import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, NamedTuple

from coordinator.core.events import Event
from coordinator.core.state import State
from coordinator.records import frames
from coordinator.records.disk import Disk, DiskFile
from coordinator.records.event_codec import canonical, decode_event, encode_event

FORMAT = 2
FILE_NAME = "journal.log"
OPENED = "opened"
"""Kind of the entry that marks each opening; not an event."""
_NAME = b"bothsides-journal:"
FORMAT_LINE = b"%b%d\n" % (_NAME, FORMAT)


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
    first_command: int = 0
    """The number that the run's commands are counted from; see `core.begin`."""
    program: str = ""
    """Version of the program that began the run."""
    root: str = ""
    """Folder that the names of the files are relative to."""
    sequence: str = ""
    joint: str = ""
    """Files below `root`; no joint where the sequence names it."""
    clock_base_us: int = 0
    """When the clock of a hurried cell and the wall agree."""
    standings: tuple[tuple[str, str], ...] = ()
    """Who was simulated, in shadow or real; empty in older journals, which say `simulated`."""


class Waypoint(NamedTuple):
    """What the decisions had led to at a commit, for a replay to compare with its own."""

    command: int
    prompt: int
    phase: str

    @classmethod
    def of(cls, state: State) -> "Waypoint":
        """Take it from a state."""
        return cls(state.command, state.prompt, state.phase)


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry as it stands in the file."""

    at_us: int
    kind: str
    body: str


@dataclass(frozen=True, slots=True)
class Commit:
    """What was made durable at once."""

    number: int
    entries: tuple[Entry, ...]
    waypoint: Waypoint | None


class Journal:
    """One run's journal; `create`, `open` it to read, or `take_up` to go on with it."""

    def __init__(self, disk: Disk, path: Path, head: Head, *, is_writer: bool = True) -> None:
        self.path = path
        self.head = head
        self.digest = ""
        """Digest of the last commit, written or read."""
        self.is_failed = False
        self.torn_bytes = 0
        """Bytes of a last commit that is not whole; `take_up` has cut it away."""
        self._disk = disk
        self._number = 0
        self._end = 0
        self._pending: list[str] = []
        self._is_writer = is_writer
        self._is_closed = False

    @classmethod
    def create(cls, path: Path, head: Head) -> "Journal":
        """Make a new journal.

        Raises:
            JournalFailed: JNL001, it exists already or cannot be written.
        """
        try:
            disk = DiskFile.create(path)
        except FileExistsError:
            raise JournalFailed(
                f"{path}: exists already; resume it or name another run [JNL001]"
            ) from None
        except OSError as error:
            raise _failed(path, error) from error
        return cls.create_on(disk, path, head)

    @classmethod
    def create_on(cls, disk: Disk, path: Path, head: Head) -> "Journal":
        """Make a new journal on an empty disk; `path` is only for messages."""
        journal = cls(disk, path, head)
        journal.digest = frames.first_digest(FORMAT_LINE)
        try:
            disk.grow(frames.BLOCK)
            disk.write(0, FORMAT_LINE)
            journal._end = len(FORMAT_LINE)
            journal._write(canonical(asdict(head)).encode())
        except OSError as error:
            disk.close()
            raise _failed(path, error) from error
        return journal

    @classmethod
    def open(cls, path: Path) -> "Journal":
        """Open a journal to read or verify it, also while somebody writes.

        Raises:
            JournalFailed: JNL001, it is not there or not a journal; JNL002, of another format;
                JNL005, its head is damaged.
        """
        return cls._open(path, is_writer=False)

    @classmethod
    def take_up(cls, path: Path) -> "Journal":
        """Open a journal to go on with it; a commit that a crash broke off is cut away.

        Raises:
            JournalFailed: as `open`; JNL001 also while another process writes; JNL005, something
                is damaged, and the first bad commit is named.
        """
        return cls._open(path, is_writer=True)

    @classmethod
    def _open(cls, path: Path, *, is_writer: bool) -> "Journal":
        if not path.is_file():
            raise JournalFailed(f"{path}: no journal is there [JNL001]")
        try:
            disk = DiskFile.open_to_write(path) if is_writer else DiskFile.open_to_read(path)
        except BlockingIOError:
            raise JournalFailed(
                f"{path}: another coordinator is at work on this run; end it first [JNL001]"
            ) from None
        except OSError as error:
            raise _failed(path, error) from error
        try:
            return cls.take_up_on(disk, path) if is_writer else cls.open_on(disk, path)
        except JournalFailed:
            disk.close()
            raise

    @classmethod
    def open_on(cls, disk: Disk, path: Path) -> "Journal":
        """Read a journal from a disk; `path` is only for messages."""
        scan = _scan(disk, path)
        head = _read_head(path, scan)
        journal = cls(disk, path, head, is_writer=False)
        journal.digest = scan.digest
        if scan.damage == "torn":
            journal.torn_bytes = len(disk.read().rstrip(b"\0")) - scan.end
        return journal

    @classmethod
    def take_up_on(cls, disk: Disk, path: Path) -> "Journal":
        """Go on with a journal on a disk; `path` is only for messages."""
        scan = _scan(disk, path)
        head = _read_head(path, scan)
        _require_whole(path, scan)
        journal = cls(disk, path, head)
        journal.digest, journal._end, journal._number = scan.digest, scan.end, len(scan.bodies)
        if scan.damage == "torn":
            journal._clear_torn()
        return journal

    @property
    def written(self) -> int:
        """How many bytes are written, the zeros behind them not counted."""
        return self._end

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

    def commit(self, state: State | None = None) -> None:
        """Make everything appended durable; returns once it is on the disk.

        Args:
            state: What the events have led to; a replay compares its own with it.

        Raises:
            JournalFailed: JNL001; final.
        """
        self._require_sound()
        if not self._pending:
            return
        at = canonical(Waypoint.of(state)) if state is not None else "null"
        body = f'{{"at":{at},"entries":[{",".join(self._pending)}]}}'
        self._pending = []
        try:
            self._write(body.encode())
        except OSError as error:
            self.is_failed = True
            raise _failed(self.path, error) from error

    def close(self) -> None:
        """Commit what is left and close; a failed journal is only closed. Safe to call twice."""
        if self._is_closed:
            return
        self._is_closed = True
        try:
            if self._is_writer and not self.is_failed:
                self.commit()
        finally:
            self._disk.close()

    def verify(self) -> str | None:
        """Return what is wrong with the file, None if every byte of it is sound.

        A commit that was broken off, or is being written just now, is wrong here too.
        """
        try:
            scan = _scan(self._disk, self.path)
        except JournalFailed as error:
            return str(error)
        if not scan.damage:
            return None
        return f"{self.path}: commit {len(scan.bodies)} is {_WORDS[scan.damage]} [JNL005]"

    def require_whole(self) -> None:
        """See that a run can be resumed on it; a commit that a crash broke off is no matter.

        Raises:
            JournalFailed: JNL005, the first bad commit is named.
        """
        _require_whole(self.path, _scan(self._disk, self.path))

    def digests(self) -> tuple[str, ...]:
        """Return the digest of each commit, the head's first, each with all before it."""
        return _scan(self._disk, self.path).digests

    def read_commits(self) -> Iterator[Commit]:
        """Yield the sound commits in order, without the head.

        Raises:
            JournalFailed: JNL001 unreadable; JNL003 a commit is not of this version.
        """
        for number, body in enumerate(_scan(self._disk, self.path).bodies[1:], start=1):
            yield _read_commit(self.path, number, body)

    def read_events(self) -> Iterator[Event]:
        """Yield the events in order.

        Raises:
            JournalFailed: JNL001 unreadable; JNL003 an entry is no event of this version.
        """
        for commit in self.read_commits():
            yield from events_of(self.path, commit)

    def last_epoch(self) -> int:
        """Return the largest epoch noted so far, 0 for none."""
        epochs = [
            int(json.loads(entry.body)["epoch"])
            for commit in self.read_commits()
            for entry in commit.entries
            if entry.kind == OPENED
        ]
        return max(epochs, default=0)

    def _append(self, at_us: int, kind: str, body: str) -> None:
        self._require_sound()
        self._pending.append(f'[{at_us},"{kind}",{body}]')

    def _write(self, body: bytes) -> None:
        whole, digest = frames.frame(self.digest, self._number, body)
        end = self._end + len(whole)
        if self._disk.size() < frames.size_for(end):
            self._disk.grow(frames.size_for(end))
        self._disk.write(self._end, whole)
        self._disk.sync()
        self.digest, self._end, self._number = digest, end, self._number + 1

    def _clear_torn(self) -> None:
        """Write zeros over a commit that was broken off: what follows must not be mixed with it."""
        try:
            self.torn_bytes = len(self._disk.read().rstrip(b"\0")) - self._end
            self._disk.write(self._end, bytes(self.torn_bytes))
            self._disk.sync()
        except OSError as error:
            raise _failed(self.path, error) from error

    def _require_sound(self) -> None:
        if self.is_failed:
            raise JournalFailed(
                f"{self.path}: failed before; open it again and verify it first [JNL001]"
            )
        if not self._is_writer:
            raise JournalFailed(f"{self.path}: was opened to read; take it up to write [JNL001]")


def events_of(path: Path, commit: Commit) -> Iterator[Event]:
    """Yield the events of a commit; `path` is only for messages.

    Raises:
        JournalFailed: JNL003 an entry is no event of this version.
    """
    for entry in commit.entries:
        if entry.kind == OPENED:
            continue
        try:
            event = decode_event(entry.kind, entry.body)
        except ValueError as error:
            raise JournalFailed(f"{path}: commit {commit.number}: {error} [JNL003]") from None
        yield event


def _scan(disk: Disk, path: Path) -> frames.Scan:
    try:
        content = disk.read()
    except OSError as error:
        raise _failed(path, error) from error
    line, _, _ = content[:64].partition(b"\n")
    if not line.startswith(_NAME):
        raise JournalFailed(f"{path}: is no journal, or its beginning is damaged [JNL001]")
    if content[: len(FORMAT_LINE)] != FORMAT_LINE:
        name = line[len(_NAME) :].decode(errors="replace")
        raise JournalFailed(
            f"{path}: format '{name}', must be {FORMAT} or below; resume it with the version that "
            "wrote it [JNL002]"
        )
    return frames.scan(content, FORMAT_LINE)


def _require_whole(path: Path, scan: frames.Scan) -> None:
    if scan.damage in ("cut", "damaged"):
        raise JournalFailed(
            f"{path}: commit {len(scan.bodies)} is {_WORDS[scan.damage]}; nothing can be "
            "resumed on it, fetch a copy or begin a new run [JNL005]"
        )


def _read_head(path: Path, scan: frames.Scan) -> Head:
    if not scan.bodies:
        raise JournalFailed(f"{path}: the head is {_WORDS[scan.damage]}; begin a new run [JNL005]")
    values: dict[str, Any] = json.loads(scan.bodies[0])
    try:
        values["files"] = tuple(PinnedFile(**entry) for entry in values["files"])
        values["standings"] = tuple((name, word) for name, word in values.get("standings", ()))
        return Head(**values)
    except (KeyError, TypeError) as error:
        raise JournalFailed(f"{path}: the head is not of this version: {error} [JNL003]") from None


def _read_commit(path: Path, number: int, body: bytes) -> Commit:
    try:
        values: dict[str, Any] = json.loads(body)
        entries = tuple(Entry(at, kind, canonical(one)) for at, kind, one in values["entries"])
        at = values["at"]
        return Commit(number, entries, None if at is None else Waypoint(*at))
    except (ValueError, KeyError, TypeError) as error:
        raise JournalFailed(f"{path}: commit {number}: {error} [JNL003]") from None


_WORDS = {"": "missing", "torn": "broken off", "cut": "cut off", "damaged": "damaged"}


def _failed(path: Path, error: BaseException) -> JournalFailed:
    return JournalFailed(f"{path}: {error}; the journal is closed for good, verify it [JNL001]")
