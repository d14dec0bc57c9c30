"""Tell which causes of a case have acted in a world, so that nobody counts what nobody met.

Units: ``*_us`` whole microseconds since the start.
"""

from collections.abc import Sequence

from sim_arms.causes import CATALOGUE, Cause
from sim_arms.copying import RewindableBench
from sim_arms.floor import Floor
from sim_arms.shell import Shell
from sim_arms.world import World


def acted(world: World, causes: Sequence[Cause]) -> tuple[bool, ...]:
    """Return for each cause whether it has acted.

    Args:
        world: Its parties were made copyable.
        causes: Of the case.
    """
    met: dict[Cause, None] = {}
    for party in world.parties:
        shell = party.hoist if isinstance(party, Floor) else party
        if isinstance(party, Floor):
            met.update(party.acted)
        if isinstance(shell, Shell) and isinstance(shell.bench, RewindableBench):
            met.update(shell.bench.inner.bench.causes.acted)
    return tuple(_has_acted(world, cause, met) for cause in causes)


def _has_acted(world: World, cause: Cause, met: dict[Cause, None]) -> bool:
    if CATALOGUE[cause.cause].applies_to == "bus":
        return cause.cause in world.network.acted
    if CATALOGUE[cause.cause].applies_to == "process":
        return (cause.at_us or 0) <= world.now_us
    return cause in met
