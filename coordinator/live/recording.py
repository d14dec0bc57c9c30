"""Join the coordinator's proofs to the record store."""

from coordinator.core.plan import Plan
from coordinator.live.coordinator import Proof, RecordWriter
from coordinator.records.rows import Run
from coordinator.records.store import RecordStore
from coordinator.records.write import ToolFacts, write_proof
from coordinator.wire.codec import to_time
from coordinator.wire.messages import Trace


def record_into(store: RecordStore, plan: Plan, run: Run, origin_us: int) -> RecordWriter:
    """Return a writer that puts every proof of a run into `store`.

    Args:
        store: Where to; it must know the run already (`RecordStore.begin_run`).
        plan: Names bolts, rounds and targets.
        run: Whose proofs they are.
        origin_us: When the run began, microseconds since the Unix epoch.
    """

    def write(proof: Proof) -> None:
        facts = ToolFacts(
            trace=proof.trace or Trace(),
            tool=proof.tool,
            # A run with simulated steel proves nothing real, whatever a party says of itself.
            simulated=proof.simulated or run.simulated,
            at=to_time(origin_us + proof.at_us),
        )
        write_proof(store, plan, run, proof.effect, facts)

    return write
