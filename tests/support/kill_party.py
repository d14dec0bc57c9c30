"""Be one process of a cell whose processes are killed; what it does outlives it in a history."""

import asyncio
import contextlib
import json
import os
import time
from collections.abc import Callable
from pathlib import Path

from coordinator.core.events import Act as Deed
from coordinator.core.plan import Option
from coordinator.core.prompts import BUILT_IN, UNKNOWN_OUTCOME
from coordinator.live.coordinator import OutdatedCoordinator
from coordinator.live.hurry import hurried
from coordinator.live.link import LinkUnreachable
from coordinator.operate.cell_clock import CellClock
from coordinator.operate.pinned import speed_of
from coordinator.operate.run_live import LiveResult, Resumption, Wishes, run_live
from coordinator.operate.secrets_folder import address_for
from coordinator.records.journal import FILE_NAME, Journal, JournalFailed
from coordinator.records.replaying import replay
from coordinator.rehearse.simulated import Simulation
from coordinator.sequence import Act, Answer, Loaded, People
from coordinator.wire.codec import decode, encode
from coordinator.wire.messages import Do, Message, Release
from sim_arms.ledger import FileStore
from sim_arms.node import Broker, run_party
from tests.support.arm_side import ArmSide, KeptLedger

END_FILE = "end.json"
TRIES_MAX = 100
"""Chosen: a broker that was killed too is back long before."""
AGAIN_S = 0.1
DEEDS_MAX = 40
"""Chosen: more restarts and answers than one run is killed; then it stays held."""
LOOKS_US = 1_000_000
"""Chosen: so long a person looks before each deed; signals are back by then."""


def be_party(name: str, loaded: Loaded, folder: Path, broker: str, clock: CellClock) -> None:
    """Be an arm or the floor until killed, on a broker that lets it in with its secrets."""
    store = HistoryStore(folder, name)
    boot = store.count_boot()
    world = Simulation(loaded, seed=1, origin_us=clock.base_us, boot=boot, speed=clock.speed)
    party = world.party(name, store)
    receive = party.receive

    def heard(message: Message, now_us: int, retained: bool = False) -> list[Message]:
        if isinstance(message.body, Do | Release):
            store.note("heard", message)
        return receive(message, now_us, retained)

    party.receive = heard  # type: ignore[method-assign]  # a window on what reaches the party
    known = address_for(broker, name)
    at = Broker(known.host, known.port, known.username, known.password, known.trust())
    asyncio.run(run_party(party, loaded.cell.cell, at, clock, speed=clock.speed))


class HistoryStore(FileStore):
    """A ledger that also keeps every entry ever written, as a file that only grows."""

    def __init__(self, folder: Path, name: str) -> None:
        super().__init__(folder / f"{name}.ledger")
        self._history = (folder / f"{name}.history").open("ab", buffering=0)

    def write(self, command: int, message: Message) -> None:
        """Keep the entry, as a ledger and as history."""
        super().write(command, message)
        self.note("kept", message)

    def note(self, what: str, message: Message) -> None:
        """Append one line; a killed process has written it whole or not at all."""
        self._history.write(what.encode() + b"\t" + encode(message) + b"\n")


def arm_side_of(folder: Path, names: tuple[str, ...]) -> ArmSide:
    """Return what reached the parties, and what they did, by their histories."""
    side = ArmSide()
    for name in names:
        ledger = side.stores[name] = KeptLedger()
        path = folder / f"{name}.history"
        for line in path.read_bytes().splitlines() if path.is_file() else []:
            what, _, payload = line.partition(b"\t")
            message = decode("history", payload)
            if what == b"heard":
                side.heard(0, name, message)
            else:
                ledger.entries.append(message)
    return side


def be_coordinator(
    loaded: Loaded, sequence: Path, folder: Path, broker: str, clock: CellClock
) -> None:
    """Begin the run of a folder, or go on with it; write how it ended."""
    for _ in range(TRIES_MAX):
        try:
            result = _begin_or_resume(loaded, sequence, folder, broker, clock)
        except (LinkUnreachable, OutdatedCoordinator) as error:
            if isinstance(error, OutdatedCoordinator) and "LNK012" not in str(error):
                raise
            time.sleep(AGAIN_S)
            continue
        ended = {"phase": result.phase, "reason": result.reason}
        (folder / "end.new").write_text(json.dumps(ended), encoding="utf-8")
        os.replace(folder / "end.new", folder / END_FILE)
        return
    raise AssertionError("never alone with a broker")


def _begin_or_resume(
    loaded: Loaded, sequence: Path, folder: Path, broker: str, clock: CellClock
) -> LiveResult:
    acts = tuple(
        Act(deed, "test person", when="held", after_us=LOOKS_US)
        for _ in range(DEEDS_MAX)
        for deed in (Deed.RESET, Deed.RESTART)
    )
    # Each an object of its own: a script takes an entry away once it has counted.
    answers = tuple(
        Answer(BUILT_IN[UNKNOWN_OUTCOME], Option.AGAIN, "test person") for _ in range(DEEDS_MAX)
    )
    wishes = Wishes(
        loaded=loaded,
        sequence_path=sequence,
        out=folder / "out",
        say=_teller(folder / "told.log"),
        people=People(answers, acts),
        speed=clock.speed,
        starts_parties=False,
        clock=clock,
    )
    for path in sorted((folder / "out").glob(f"*/{FILE_NAME}"), reverse=True):
        try:
            journal = Journal.take_up(path)
        except JournalFailed as error:
            if "the head is" not in str(error) and "is no journal" not in str(error):
                raise
            continue  # Killed before the run had a head: nothing had left.
        with contextlib.closing(journal):
            plan = hurried(loaded.plan, speed_of(journal.head))
            return run_live(wishes, broker, Resumption(journal, replay(plan, journal)))
    return run_live(wishes, broker)


def _teller(path: Path) -> Callable[[str], None]:
    def tell(text: str) -> None:
        with path.open("a", encoding="utf-8") as told:
            told.write(f"{os.getpid()} {text}\n")

    return tell
