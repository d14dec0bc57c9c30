"""What a party has done, command by command, so that nothing is done twice.

A command is written down before it moves anything and again before its outcome is reported. After
a restart a command that was at work reads as interrupted, one that was only armed as never begun:
that is an outcome like any other, so that nobody asks a person what the party knows.
The last 1,000 are remembered.

Invariants: A4, a command is done at most once, also over restarts of its party.
"""

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Literal, Protocol

from coordinator.wire.codec import decode, encode
from coordinator.wire.messages import (
    Accepted,
    Armed,
    Faulted,
    Finished,
    Interrupted,
    Message,
    Refused,
    Started,
    Value,
)

KEPT = 1000
Outcome = Literal["", "finished", "faulted", "interrupted"]
Entry = Accepted | Armed | Started | Finished | Faulted | Interrupted | Refused
"""What is kept of a command; of refusals only that it was never begun."""


@dataclass(frozen=True, slots=True)
class Metal:
    """What simulated metal keeps by being metal, whoever's process dies."""

    facts: Mapping[str, Value]
    """About the steel, all that this party wrote."""
    standing: Mapping[str, Value]
    """How the party's own things stand."""


class LedgerStore(Protocol):
    """Keeps the last message about each command, and the metal, over a restart of the process."""

    def load(self) -> list[Message]:
        """Return what is kept, the lowest command first."""

    def write(self, command: int, message: Message) -> None:
        """Keep `message` as the last about `command`; durable when this returns."""

    def load_metal(self) -> Metal | None:
        """Return what was kept of the metal, None for nothing."""

    def keep_metal(self, metal: Metal) -> None:
        """Keep how the metal stands; durable when this returns."""


class MemoryStore:
    """Keeps a ledger as long as this object lives: for virtual time and tests."""

    def __init__(self) -> None:
        self._kept: dict[int, Message] = {}
        self._metal: Metal | None = None

    def load(self) -> list[Message]:
        """Return what is kept, the lowest command first."""
        return [self._kept[command] for command in sorted(self._kept)]

    def write(self, command: int, message: Message) -> None:
        """Keep `message` as the last about `command`."""
        self._kept[command] = message
        if len(self._kept) > KEPT:
            del self._kept[min(self._kept)]

    def load_metal(self) -> Metal | None:
        """Return what was kept of the metal."""
        return self._metal

    def keep_metal(self, metal: Metal) -> None:
        """Keep how the metal stands."""
        self._metal = metal


class FileStore:
    """Keeps a ledger in a SQLite file, on the disk before `write` returns.

    An error of the disk is let out: a party that cannot keep its ledger must not go on.
    """

    def __init__(self, path: Path) -> None:
        self._connection = sqlite3.connect(path, isolation_level=None)
        self._connection.execute("PRAGMA journal_mode = WAL")
        self._connection.execute("PRAGMA synchronous = FULL")
        self._connection.execute(
            "CREATE TABLE IF NOT EXISTS ledger (command INTEGER PRIMARY KEY, message BLOB NOT NULL)"
        )
        self._connection.execute(
            "CREATE TABLE IF NOT EXISTS kept (name TEXT PRIMARY KEY, value TEXT NOT NULL)"
        )

    def load(self) -> list[Message]:
        """Return what is kept, the lowest command first.

        Raises:
            RemoteProtocolError: LNK001 to LNK004, the file holds something else than a ledger.
        """
        rows = self._connection.execute("SELECT message FROM ledger ORDER BY command")
        return [decode("ledger", payload) for (payload,) in rows]

    def write(self, command: int, message: Message) -> None:
        """Keep `message` as the last about `command`; synced to the disk when this returns."""
        self._connection.execute("BEGIN IMMEDIATE")
        self._connection.execute(
            "INSERT OR REPLACE INTO ledger VALUES (?, ?)", (command, encode(message))
        )
        self._connection.execute(
            "DELETE FROM ledger WHERE command IN"
            " (SELECT command FROM ledger ORDER BY command DESC LIMIT -1 OFFSET ?)",
            (KEPT,),
        )
        self._connection.execute("COMMIT")

    def load_metal(self) -> Metal | None:
        """Return what was kept of the metal."""
        text = self._kept("metal")
        return None if text is None else Metal(**json.loads(text))

    def keep_metal(self, metal: Metal) -> None:
        """Keep how the metal stands; synced to the disk when this returns."""
        self._keep("metal", json.dumps(asdict(metal)))

    def count_boot(self) -> int:
        """Return how often a process has started on this file, this time included."""
        boot = int(self._kept("boot") or 0) + 1
        self._keep("boot", str(boot))
        return boot

    def _kept(self, name: str) -> str | None:
        row = self._connection.execute("SELECT value FROM kept WHERE name = ?", (name,)).fetchone()
        return None if row is None else str(row[0])

    def _keep(self, name: str, value: str) -> None:
        self._connection.execute("INSERT OR REPLACE INTO kept VALUES (?, ?)", (name, value))

    def close(self) -> None:
        """Close the file."""
        self._connection.close()


class Ledger:
    """The last report about each of the last 1,000 commands obeyed."""

    def __init__(self, store: LedgerStore) -> None:
        self.store = store
        self.last_obeyed = 0
        """The highest command number ever armed, begun or disarmed."""
        self.epoch = 0
        """The highest epoch that a kept command belonged to."""
        self.last_ended = 0
        self.last_outcome: Outcome = ""
        self._reports: dict[int, Entry] = {}
        for message in store.load():
            self._take_up(message)

    def report_of(self, command: int) -> Entry | None:
        """Return the last report about a command, None where none is known."""
        return self._reports.get(command)

    def record(self, message: Message) -> None:
        """Write down what `message` reports, before anybody hears it."""
        report = message.body
        is_lasting = not isinstance(report, Refused) or report.reason == "never_begun"
        if not isinstance(report, Entry) or not is_lasting:
            raise TypeError(f"a ledger keeps no {type(report).__name__}")
        self.store.write(report.command, message)
        self._keep(report)

    def use_up(self, number: int) -> None:
        """Obey nothing older from here on: after a hold, or a disarm that overtook its command."""
        self.last_obeyed = max(self.last_obeyed, number)

    def _keep(self, report: Entry) -> None:
        self._reports[report.command] = report
        self.last_obeyed = max(self.last_obeyed, report.command)
        match report:
            case Finished():
                self.last_ended, self.last_outcome = report.command, "finished"
            case Faulted():
                self.last_ended, self.last_outcome = report.command, "faulted"
            case Interrupted():
                self.last_ended, self.last_outcome = report.command, "interrupted"
        if len(self._reports) > KEPT:
            del self._reports[min(self._reports)]

    def _take_up(self, message: Message) -> None:
        report = message.body
        self.epoch = max(self.epoch, message.epoch)
        match report:
            case Armed(command):
                # Prepared, and its start would have been written down before it moved.
                self.record(replace(message, body=Refused(command, "never_begun")))
            case Accepted(command) | Started(command):
                # Nobody can tell how far it came: the process died while the command was at work.
                lost = Interrupted(command, {"process_died": True})
                self.record(replace(message, body=lost))
            case Finished() | Faulted() | Interrupted() | Refused():
                self._keep(report)
