"""Pull the nuts of a flange one after the other and tell the load of every bolt after each pull.

A nut that is pulled to a torque comes to the load of that torque, unless it carries more already:
a wrench that pulls on never lets load off.

Units: metre, newton; shares without unit; bolts are numbered from 1.
Invariants: PH4, a nut just pulled carries no less than the load it was pulled to.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from sim_arms.physics.flange import FREE_ADVANCE_M, Flange, FlangeState, advance_for

TOGETHER_MAX = 60
"""Turns in which the nuts of one pull settle against each other."""
STILL_M = 1e-12
PASSES_MAX = 20
"""Passes at the full load after which more are not tried; chosen."""

Groups = Sequence[tuple[int, ...]]


@dataclass(frozen=True, slots=True)
class Pull:
    """One pull, of one nut or of several together, and what it left."""

    round: int
    """From 1."""
    bolts: tuple[int, ...]
    load_n: float
    state: FlangeState


@dataclass(frozen=True, slots=True)
class Study:
    """All pulls of a make-up, and when every bolt came to lie in the window."""

    pulls: tuple[Pull, ...]
    rounds_needed: int | None
    """Rounds after which all loads are in the window, None where they do not come to be."""
    round_loads_n: tuple[tuple[float, ...], ...]
    """Loads of all bolts at the end of each round."""


def pull_in_rounds(
    flange: Flange,
    groups: Groups,
    load_n: float,
    shares: Sequence[float],
    *,
    window: float,
    snug_n: float = 0.0,
) -> Study:
    """Pull in rounds, the last repeated until all loads are in the window.

    Args:
        flange: How the joint shares its load.
        groups: Bolts pulled together, in order, alike in every round.
        load_n: What every bolt is to carry.
        shares: Of that load, for each round; after them the full load is repeated.
        window: Share by which a load may differ from `load_n`.
        snug_n: Load to which every bolt is run up before, in the order of the bolts.
    """
    advances = [FREE_ADVANCE_M] * flange.bolt_count
    if snug_n > 0.0:
        for bolt in range(1, flange.bolt_count + 1):
            pull_together(flange, advances, (bolt,), snug_n)
    pulls: list[Pull] = []
    ends: list[tuple[float, ...]] = []
    needed: int | None = None
    for number in range(1, len(shares) + PASSES_MAX + 1):
        share = shares[number - 1] if number <= len(shares) else 1.0
        for group in groups:
            pull_together(flange, advances, group, share * load_n)
            pulls.append(Pull(number, group, share * load_n, flange.settle(advances)))
        loads_n = pulls[-1].state.loads_n
        ends.append(loads_n)
        if number >= len(shares) and spread(loads_n, load_n) <= window:
            needed = number
            break
    return Study(tuple(pulls), needed, tuple(ends))


def pull_together(
    flange: Flange, advances_m: list[float], bolts: Sequence[int], load_n: float
) -> None:
    """Turn nuts on, in place, until each carries at least a load.

    They rise together and come to the load at one time, so each is sought anew while the others
    stand, until none moves; none ends below where it began.
    """
    began_m = [advances_m[bolt - 1] for bolt in bolts]
    for _ in range(TOGETHER_MAX):
        moved_m = 0.0
        for bolt, least_m in zip(bolts, began_m, strict=True):
            wanted_m = max(least_m, advance_for(flange, advances_m, bolt - 1, load_n))
            moved_m = max(moved_m, abs(wanted_m - advances_m[bolt - 1]))
            advances_m[bolt - 1] = wanted_m
        if moved_m <= STILL_M:
            return


def spread(loads_n: Sequence[float], load_n: float) -> float:
    """Return the largest difference of any load from the one wanted, as a share of it."""
    return max(abs(load / load_n - 1.0) for load in loads_n)
