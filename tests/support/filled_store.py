"""A record store in which a run with two proofs has ended."""

from coordinator.live.recording import record_into
from coordinator.records.rows import Run
from coordinator.records.store import RecordStore
from tests.support.proofs import ORIGIN_US, proof
from tests.support.small_plan import small_plan

RUN = Run("run_1", "airlift", "small", "d" * 64, "2030-01-01T00:00:00Z")


def filled(address: str) -> RecordStore:
    """Fill the store at an address and leave it open."""
    store = RecordStore(address)
    store.begin_run(RUN)
    write = record_into(store, small_plan(), RUN, ORIGIN_US)
    write(proof(4))
    write(proof(5, node=4, torque_nm=800.0))
    store.end_run("run_1", "complete", "", "2030-01-01T01:00:00Z")
    return store
