"""What people do to the steel by hand, where an arm could not: run a bolt up, pull it, loosen it.

Units: torque newton metre.
Invariants: one writer per fact: it is written into the replica of the bolt's own side.
"""

from sim_arms.activities.bench import Bench
from sim_arms.activities.wrenching import Nut
from sim_arms.physics.flange import FREE_ADVANCE_M


def work_by_hand(bench: Bench, kind: str, bolt: int, torque_nm: float) -> None:
    """Do to a bolt what a record of this kind proves.

    Args:
        bench: Of the bolt's side.
        kind: Of the record; of a kind that leaves the steel alone nothing is done.
        bolt: Which.
        torque_nm: What the person measured; 0 where nothing is.
    """
    steel, key = bench.steel, f"bolt.{bolt}"
    if kind in ("pull", "confirm", "check"):
        load_n = Nut.under(bench, bolt).law.load_n(torque_nm)
        steel.write(f"{key}.advance_m", steel.advance_for(bolt, load_n))
    elif kind == "run-up":
        steel.write(f"{key}.crossed", False)
        steel.write(f"{key}.broken", False)
        steel.write(f"{key}.where", "hole")
        steel.write(f"{key}.turns", steel.shoulder_turns)
        steel.write(f"{key}.advance_m", steel.advance_for(bolt, 0.0))
        if bench.holding == bolt:
            bench.holding = 0
    elif kind == "break-out":
        steel.write(f"{key}.advance_m", FREE_ADVANCE_M)
        steel.write(f"{key}.broken_out", True)
