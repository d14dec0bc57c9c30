"""Tell which causes of a case have acted in a world, and which would have, had they been set.

Units: ``*_us`` whole microseconds since the start.
"""

from collections.abc import Sequence

from sim_arms.causes import CATALOGUE, Cause, Causes
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


def watch_questions(world: World) -> tuple[Causes, ...]:
    """Let every bench note which causes it asks for from now on; return where it notes them."""
    noted = []
    for party in world.parties:
        shell = party.hoist if isinstance(party, Floor) else party
        if isinstance(shell, Shell) and isinstance(shell.bench, RewindableBench):
            causes = shell.bench.inner.bench.causes
            causes.asked = {}
            noted.append(causes)
    return tuple(noted)


def _has_acted(world: World, cause: Cause, met: dict[Cause, None]) -> bool:
    if CATALOGUE[cause.cause].applies_to == "bus":
        return cause.cause in world.network.acted
    if CATALOGUE[cause.cause].applies_to == "process":
        return (cause.at_us or 0) <= world.now_us
    return cause in met
