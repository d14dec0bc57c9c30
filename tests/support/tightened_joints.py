"""Joints tightened by chance, for judging the judge: numpy, a ring by matrices, none of our code.

Bolts of a lot differ in friction, in stiffness and in where their counting begins; what a tool
reads differs too. Loads come to rest at the target torque of each bolt.
"""

import numpy as np
from numpy.typing import NDArray

from coordinator.bolting.load_evidence import BoltReadings

PITCH_M, LEVER_M, BOLT_N_M, TARGET_NM = 3.175e-3, 61e-3, 1.0e9, 3114.0
FRICTION = 0.07
Array = NDArray[np.float64]


def ring_matrix(count: int, ratio: float) -> Array:
    """Return the load of each bolt for each metre of advance of each nut, (n, n)."""
    angles = 2.0 * np.pi * np.arange(count) / count
    shape = np.stack([np.ones(count), np.cos(angles), np.sin(angles)], axis=1)
    ring = ratio * count * BOLT_N_M * np.diag([1.0, 0.5, 0.5])
    gives = np.linalg.solve(ring + BOLT_N_M * shape.T @ shape, BOLT_N_M * shape.T)
    matrix: Array = BOLT_N_M * (np.eye(count) - shape @ gives)
    return matrix


def tightened(
    dice: np.random.Generator,
    count: int,
    worse: dict[int, float] | None = None,
    *,
    friction: float = 0.05,
    ratio: float = 5.0,
) -> list[BoltReadings]:
    """Draw a joint and return what its bolts show.

    Args:
        dice: Draws everything.
        count: Bolts.
        worse: Place of a bolt -> how many times the friction of the lot it has.
        friction: Scatter of friction within the lot, one standard deviation.
        ratio: Ring over bolts.
    """
    rubs = FRICTION * np.exp(dice.normal(0.0, friction, count))
    for place, factor in (worse or {}).items():
        rubs[place] *= factor
    levers = PITCH_M / (2.0 * np.pi) + rubs * LEVER_M
    stiff = np.exp(dice.normal(0.0, 0.03, count))
    torques = TARGET_NM * np.exp(dice.normal(0.0, 0.005, count))
    loads = torques / levers
    # Each bolt has its own stiffness: the advance in the bolt itself is its load over that.
    stretched = np.linalg.solve(ring_matrix(count, ratio), loads)
    stretched += loads / BOLT_N_M * (1.0 / stiff - 1.0)
    turns = 2.0 * np.pi * stretched / PITCH_M
    turns += np.deg2rad(dice.normal(0.0, 3.0, count))
    turns += np.deg2rad(dice.normal(0.0, 0.5, (3, count))).sum(0)
    slopes = levers * BOLT_N_M * stiff * PITCH_M / (2.0 * np.pi)
    slopes *= np.exp(dice.normal(0.0, 0.02, count))
    return [BoltReadings(*map(float, row)) for row in zip(turns, torques, slopes, strict=True)]
