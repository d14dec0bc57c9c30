"""Share the load of a flange by a given influence matrix instead of plate and ring.

An influence matrix tells, for each newton that a bolt gains while all other nuts stand, what every
bolt gains. It may come from a measurement or from a finer calculation of the same joint.

The bolts that carry are found in a bounded number of turns.

Units: metre, newton, newton per metre.
Invariants: PH3, the simulated flange carries no load below zero.
"""

import math
from collections.abc import Sequence

from sim_arms.physics.flange import FREE_ADVANCE_M, FlangeState, Grip, switch_wrong

Rows = tuple[tuple[float, ...], ...]


class InfluenceModel:
    """A flange known by how its bolts take load off each other."""

    def __init__(self, influence: Rows, bolt_circle_radius_m: float, bolt_n_m: float) -> None:
        """Take the matrix.

        Args:
            influence: Row of the bolt that is affected, column of the bolt that gains one newton;
                ones on the diagonal, and no column gives away as much as it gains.
            bolt_circle_radius_m: For the tilt.
            bolt_n_m: Stiffness of one bolt, with which a nut gains load while the others stand:
                the faces' own give is small beside it.
        """
        self.bolt_count = len(influence)
        self.radius_m = bolt_circle_radius_m
        self.bolt_n_m = bolt_n_m
        stiffness = [[bolt_n_m * one for one in row] for row in influence]
        unit = [[float(i == j) for j in range(self.bolt_count)] for i in range(self.bolt_count)]
        self._gives = solve(stiffness, unit)
        """How far the nut of a bolt must advance for each newton of each bolt."""

    def settle(self, advance_m: Sequence[float]) -> FlangeState:
        """Return the loads at the advances of all nuts."""
        loads = self._loads(advance_m, self._pulling(advance_m))
        follows = [
            sum(give * load for give, load in zip(row, loads, strict=True)) - own / self.bolt_n_m
            for row, own in zip(self._gives, loads, strict=True)
        ]
        count = self.bolt_count
        angles = [2.0 * math.pi * index / count for index in range(count)]
        tilt_x, tilt_y = (
            2.0
            / count
            / self.radius_m
            * sum(f * way(a) for f, a in zip(follows, angles, strict=True))
            for way in (math.cos, math.sin)
        )
        return FlangeState(tuple(loads), sum(follows) / count, tilt_x, tilt_y)

    def grip(self, advance_m: Sequence[float], bolt_index: int) -> Grip:
        """Return the line on which one bolt's load runs while the other nuts stand."""
        others = self._pulling(advance_m)
        others[bolt_index] = False
        held = self._loads(advance_m, others)
        contact = sum(give * load for give, load in zip(self._gives[bolt_index], held, strict=True))
        alone = [i for i in range(self.bolt_count) if others[i]]
        block = [[self._gives[i][j] for j in alone] for i in alone]
        column = [[self._gives[i][bolt_index]] for i in alone]
        back = solve(block, column)
        gives = self._gives[bolt_index]
        own = gives[bolt_index] - sum(gives[j] * back[k][0] for k, j in enumerate(alone))
        return Grip(contact, 1.0 / own)

    def advances_for(self, loads_n: Sequence[float]) -> tuple[float, ...]:
        """Return the advances of all nuts that hold the given loads, each above zero, at once."""
        return tuple(
            sum(give * load for give, load in zip(row, loads_n, strict=True)) for row in self._gives
        )

    def _pulling(self, advance_m: Sequence[float]) -> list[bool]:
        """Find which bolts pull; switch all wrong ones at once, later only the worst one."""
        pulling = [advance > FREE_ADVANCE_M for advance in advance_m]
        for turn in range(4 * self.bolt_count):
            loads = self._loads(advance_m, pulling)
            excess = [
                loads[i] if pulling[i] else (advance_m[i] - self._reach(loads, i)) * self.bolt_n_m
                for i in range(self.bolt_count)
            ]
            if not switch_wrong(pulling, excess, 1e-6, is_worst_alone=turn > self.bolt_count):
                break
        return pulling

    def _reach(self, loads_n: Sequence[float], index: int) -> float:
        """How far a nut without load may advance before it begins to pull."""
        return sum(give * load for give, load in zip(self._gives[index], loads_n, strict=True))

    def _loads(self, advance_m: Sequence[float], pulling: Sequence[bool]) -> list[float]:
        held = [i for i in range(self.bolt_count) if pulling[i]]
        block = [[self._gives[i][j] for j in held] for i in held]
        solved = solve(block, [[advance_m[i]] for i in held])
        loads = [0.0] * self.bolt_count
        for index, (load,) in zip(held, solved, strict=True):
            loads[index] = load
        return loads


def solve(matrix: Sequence[Sequence[float]], right: Sequence[Sequence[float]]) -> list[list[float]]:
    """Solve a square system for several right sides, by elimination with the largest pivot.

    Raises:
        ZeroDivisionError: The matrix has no inverse.
    """
    rows = [[*row, *more] for row, more in zip(matrix, right, strict=True)]
    count = len(rows)
    for column in range(count):
        best = max(range(column, count), key=lambda row: abs(rows[row][column]))
        rows[column], rows[best] = rows[best], rows[column]
        pivot = rows[column][column]
        rows[column] = [value / pivot for value in rows[column]]
        for row in range(count):
            factor = rows[row][column]
            if row != column and factor != 0.0:
                rows[row] = [
                    value - factor * taken
                    for value, taken in zip(rows[row], rows[column], strict=True)
                ]
    return [row[count:] for row in rows]
