"""Leave records and journal of a rehearsal behind, as a run leaves its own."""

import contextlib
from pathlib import Path

from coordinator.operate.calibration import calibrations_of
from coordinator.operate.pinned import pin, program_version
from coordinator.records.journal import FILE_NAME, Head, Journal
from coordinator.records.rows import Run
from coordinator.records.store import RecordStore
from coordinator.records.write import ToolFacts, write_proof
from coordinator.rehearse.rehearsal import Rehearsed
from coordinator.sequence.read import root_of
from coordinator.wire.codec import to_time
from coordinator.wire.messages import Trace


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
    write_journal(folder, name, rehearsed)
    store = RecordStore(f"sqlite:///{out / 'records.sqlite'}")
    with contextlib.closing(store):
        store.begin_run(run)
        for proof in result.proofs:
            facts = ToolFacts(proof.trace or Trace(), proof.tool, True, to_time(proof.at_us))
            write_proof(store, loaded.plan, run, proof.effect, facts)
        store.end_run(name, result.phase, result.reason, to_time(result.time_us))


def write_journal(folder: Path, name: str, rehearsed: Rehearsed) -> str:
    """Write the journal of what was rehearsed into an existing folder, and return its digest."""
    loaded = rehearsed.loaded
    head = Head(
        name,
        loaded.plan.digest,
        pin(rehearsed.path, loaded),
        rehearsed.seed,
        0,
        to_time(0),
        program=program_version(),
        root=str(root_of(rehearsed.path).absolute()),
        sequence=loaded.files[0][0],
        joint="" if rehearsed.joint is None else loaded.files[-1][0],
    )
    with contextlib.closing(Journal.create(folder / FILE_NAME, head)) as journal:
        for event in rehearsed.events:
            journal.append(event)
        journal.commit()
        return journal.digest
