"""What the walk leaves out, takes in one step or takes as alike changes nothing that it finds."""

from dataclasses import replace
from typing import Any, NamedTuple

import pytest

from coordinator.core.plan import Exhausted, Interlock, InterlockKind, Move, Plan, Signal
from coordinator.core.state import Asked
from coordinator.prove import Limits, explore
from coordinator.prove.explore import start_of
from coordinator.prove.graph import Expander
from coordinator.prove.own import Own
from coordinator.prove.reach import reach
from coordinator.prove.store import Store
from tests.support.pair_plan import AFT, FORE, asking_plan, pair_plan
from tests.support.spoilt_plans import SPOILT


class Walked(NamedTuple):
    """What a walk through a whole plan has come to."""

    states: int
    phases: set[str]
    arms: set[Any]
    """(phase, arm, what it has done and has at hand) wherever an arm works, waits or is held."""


def walked(plan: Plan, causes: int, *, is_modular: bool) -> Walked:
    """Walk through a plan, nothing folded by place; without `is_modular` nothing is left out."""
    limits = Limits(causes, is_modular=is_modular, is_cut=False)
    expander = Expander(Own(plan), limits, Store(), is_orderly=False)
    start = start_of(expander)
    places = expander.local.places_of(start.state)
    first = expander.number(places, expander.local.look(start, places), lambda: start)
    assert reach(expander, places, [(first, 0)], limits.states_max) is not None
    looks: list[tuple[Any, ...]] = [
        expander.local.read(look) for look in expander.graph(places).numbers
    ]
    arms = {
        (rest[0], arm, _counting(lanes[arm], is_spent=rest[9] == causes))
        for *lanes, rest in looks
        for arm in (FORE, AFT)
        if rest[0] in ("held", "running", "pausing", "paused", "complete")
        and lanes[arm][-1].party.online
        and not rest[8][arm]
        and lanes[arm][-1].phase != "armed"
    }
    return Walked(len(looks), {rest[0] for *_, rest in looks}, arms)


def _counting(lane: Any, *, is_spent: bool) -> Any:
    """Return a lane's look without the failures that it counts, where none can follow any more."""
    own, node, failures, *others, rest = lane
    is_well = not (rest.at.fault or rest.then or rest.rest.failing or rest.unknown)
    if isinstance(rest.at, Asked):  # Which question is its own tells nothing.
        rest = rest._replace(at=rest.at._replace(prompt=min(rest.prompt, 1)))
    return (own, node, () if is_spent and is_well else failures, *others, rest)


def _checking_again(plan: Plan) -> Plan:
    """Return the plan with an interlock after which both arms check where the joint is."""
    guard = Interlock("guard", len(plan.signals), InterlockKind.INTERLOCK, rechecks=(Move("look"),))
    signals = (*plan.signals, Signal("guard", 1_000_000))
    return replace(plan, signals=signals, interlocks=(*plan.interlocks, guard))


def _tried_once(plan: Plan) -> Plan:
    """Return the plan with every step tried once, and the procedure held after it."""
    nodes = (
        replace(
            node,
            rules=tuple(
                replace(rule, attempts=1, then=Exhausted.HOLD, prompt=-1) for rule in node.rules
            ),
        )
        for node in plan.nodes
    )
    return replace(plan, nodes=tuple(nodes))


PLANS = {
    "pair": pair_plan(),
    "asking": asking_plan(),
    "checking_again": _checking_again(pair_plan()),
    "tried_once": _tried_once(pair_plan()),
}


@pytest.mark.timeout(900)
@pytest.mark.parametrize(
    ("name", "causes"), [*((name, 1) for name in PLANS), ("pair", 2), ("asking", 2)]
)
def test_what_is_left_out_is_found_in_the_plain_walk_and_the_other_way_round(
    name: str, causes: int
) -> None:
    """PV16, PV17, PV6: arms come to the same in each phase, by a third of the states or less.

    Left out of the comparison are the moments between two answers of a meeting, of which one order
    stands for all.
    """
    plain, folded = (walked(PLANS[name], causes, is_modular=mod) for mod in (False, True))

    assert folded.arms == plain.arms
    assert folded.phases == plain.phases
    assert folded.states < plain.states / 3


@pytest.mark.parametrize("name", PLANS)
def test_what_is_left_out_changes_no_verdict_and_no_dead_part(name: str) -> None:
    """PV3, PV5: steps, prompts, properties are the same with nothing left out and nothing alike."""
    plain = explore(PLANS[name], Limits(1, is_modular=False, is_cut=False))
    folded = explore(PLANS[name], Limits(1))

    assert (folded.is_proved, folded.violations) == (plain.is_proved, plain.violations)
    assert (folded.sent, folded.asked) == (plain.sent, plain.asked)


@pytest.mark.parametrize("name", [name for name, (_, causes, _) in SPOILT.items() if causes < 2])
def test_a_spoilt_plan_breaks_the_same_properties_as_soon_with_nothing_left_out(name: str) -> None:
    """PV2: with nothing left out no shorter way to any of them is found."""
    plan, causes, _ = SPOILT[name]
    plain = explore(plan, Limits(causes, is_modular=False, is_cut=False))
    folded = explore(plan, Limits(causes))

    shortest, found = ({one.property: one for one in walk.violations} for walk in (plain, folded))
    assert set(found) == set(shortest)
    for name, one in found.items():
        assert (one.causes, len(one.path)) == (shortest[name].causes, len(shortest[name].path))
