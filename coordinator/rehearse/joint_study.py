"""Reckon what a joint does while it is pulled: loads pull by pull, rounds needed, one trace.

Units: SI.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from random import Random

from coordinator.bolting.rounds import circular_order, cross_order
from coordinator.rehearse.simulated import steel_of
from coordinator.sequence import JointFigures
from coordinator.wire.messages import Trace
from sim_arms.activities import Bench, begin
from sim_arms.activity import Activity
from sim_arms.causes import Causes
from sim_arms.physics.rounds import PASSES_MAX, Groups, Study, pull_in_rounds, spread
from sim_arms.steel import Steel, SteelConfig

__all__ = [
    "PASSES_MAX",
    "SIDES",
    "SNUG_SHARE",
    "PullTrace",
    "Study",
    "Way",
    "simulated_pull",
    "spread",
    "steel_config_of",
    "studies",
    "ways",
]

SIDES = ("one", "other")
SNUG_SHARE = 0.04
"""Of the target load, that run-up leaves; chosen, near what a spinner gives."""


@dataclass(frozen=True, slots=True)
class Way:
    """A way of going round the bolts."""

    name: str
    text: str
    groups: Groups


def ways(joint: JointFigures) -> tuple[Way, ...]:
    """Return the ways that are compared: two tools opposite, one tool crosswise, one around."""
    count = joint.bolt_count
    return (
        Way("opposite", "two tools, opposite bolts together", joint.pairs),
        Way("cross", "one tool, in cross order", [(bolt,) for bolt in cross_order(count)]),
        Way("around", "one tool, around the circle", [(bolt,) for bolt in circular_order(count)]),
    )


def studies(joint: JointFigures) -> Mapping[str, Study]:
    """Return the loads of every way, all with the nominal friction on every bolt."""
    flange = steel_config_of(joint).flange()
    shares = [one.share for one in joint.rounds]
    return {
        way.name: pull_in_rounds(
            flange,
            way.groups,
            joint.preload_n,
            shares,
            window=joint.tolerance,
            snug_n=SNUG_SHARE * joint.preload_n,
        )
        for way in ways(joint)
    }


def steel_config_of(joint: JointFigures) -> SteelConfig:
    """Return the steel of a joint without a cell, served half and half."""
    return steel_of(joint, SIDES, begins="open")


@dataclass(frozen=True, slots=True)
class PullTrace:
    """What the tool feels in one pull and the confirmation after it, on one time."""

    pull: Trace
    confirm: Trace
    torque_nm: float
    supply_limit_pa: float
    """Behind the intensifier, at full supply."""


def simulated_pull(joint: JointFigures, *, seed: int = 1) -> PullTrace:
    """Pull the first bolt to the target in the simulated world, from snug, and confirm it."""
    config = steel_config_of(joint)
    steel, clock = Steel(config, seed), _Clock()
    for bolt in range(1, config.bolt_count + 1):
        steel.write(f"bolt.{bolt}.where", "hole")
        steel.write(f"bolt.{bolt}.advance_m", steel.advance_for(bolt, SNUG_SHARE * joint.preload_n))
    bench = Bench(SIDES[0], steel, Causes(), Random(f"{seed}:{SIDES[0]}"), clock.now_s)
    bench.tool, bench.seated_on, bench.reaction_on = "wrench", 1, 2
    takes = {"bolt": 1, "torque": joint.torque_nm}
    pull, confirm = (
        clock.let(begin(action, takes, bench, "relieve")) for action in ("pull", "confirm_torque")
    )
    limit_pa = bench.wrench.supply_pa * bench.wrench.intensifier
    return PullTrace(pull, confirm, joint.torque_nm, limit_pa)


class _Clock:
    """Time that passes as an activity waits."""

    def __init__(self) -> None:
        self._now_s = 0.0

    def now_s(self) -> float:
        """Return the time."""
        return self._now_s

    def let(self, activity: Activity) -> Trace:
        """Let an activity go on to its end and return its trace."""
        while True:
            try:
                wait = next(activity)
            except StopIteration as stop:
                trace: Trace | None = stop.value.trace
                return trace or Trace()
            self._now_s += wait.duration_s
