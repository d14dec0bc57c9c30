"""Proofs of the small plan's pulls, for tests of the record store."""

from coordinator.core.effects import WriteRecord
from coordinator.live.coordinator import Proof
from tests.support.obedient import TRACE

ORIGIN_US = 1_893_456_000_000_000
"""2030-01-01T00:00:00Z."""


def proof(command: int, *, node: int = 2, torque_nm: float = 998.0) -> Proof:
    """Return the proof of a finished pull; nodes from 3 on are the second side's."""
    party = 0 if node < 3 else 1
    effect = WriteRecord(party, command, node, 1, "finished", "", (("torque_nm", torque_nm),))
    return Proof(effect, 2_500_000, TRACE, "wrench 3", True)
