"""Leave records and journal of a rehearsal behind, as a run leaves its own."""

import contextlib
from dataclasses import dataclass
from pathlib import Path

from coordinator.cli.calibration import calibrations_of
from coordinator.cli.rehearsal import Rehearsal
from coordinator.core.events import Event
from coordinator.records.journal import Head, Journal, PinnedFile
from coordinator.records.rows import Run
from coordinator.records.store import RecordStore
from coordinator.records.write import ToolFacts, write_proof
from coordinator.sequence import Loaded
from coordinator.sequence.read import root_of
from coordinator.wire.codec import to_time
from coordinator.wire.messages import Trace


@dataclass(frozen=True, slots=True)
class Rehearsed:
    """A rehearsal with what led to it."""

    path: Path
    loaded: Loaded
    result: Rehearsal
    events: tuple[Event, ...]
    seed: int


def keep_rehearsal(out: Path, rehearsed: Rehearsed) -> None:
    """Leave records and journal of a rehearsal as a run would leave its own."""
    loaded, result = rehearsed.loaded, rehearsed.result
    name = f"dryrun_{loaded.plan.name}_{result.trace_sha256[:12]}"
    run = Run(
        name,
        loaded.joint.name,
        loaded.plan.name,
        plan_digest=loaded.plan.digest,
        started=to_time(0),
        tolerance=loaded.joint.tolerance,
        tools=calibrations_of(loaded),
    )
    folder = out / name
    if folder.exists():
        return  # The same trace has left the same records before.
    folder.mkdir(parents=True)
    root = root_of(rehearsed.path)
    files = tuple(
        PinnedFile.of(one, (root / one).read_text(encoding="utf-8")) for one, _ in loaded.files
    )
    head = Head(name, loaded.plan.digest, files, rehearsed.seed, 0, run.started)
    with contextlib.closing(Journal.create(folder / "journal.sqlite", head)) as journal:
        for event in rehearsed.events:
            journal.append(event)
    store = RecordStore(f"sqlite:///{out / 'records.sqlite'}")
    with contextlib.closing(store):
        store.begin_run(run)
        for proof in result.proofs:
            facts = ToolFacts(proof.trace or Trace(), proof.tool, True, to_time(proof.at_us))
            write_proof(store, loaded.plan, run, proof.effect, facts)
        store.end_run(name, result.phase, result.reason, to_time(result.time_us))
