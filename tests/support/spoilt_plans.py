"""Plans that no file could give, each spoilt so that a property of the proof is broken."""

from dataclasses import replace

from coordinator.core.plan import Move, Option, Plan, Record
from tests.support.pair_plan import pair_plan
from tests.support.promela.spin import STUCK


def _with_step(plan: Plan, name: str, lane: int, **changes: object) -> Plan:
    nodes = tuple(
        replace(one, **changes) if (one.name, one.lane) == (name, lane) else one  # type: ignore[arg-type]  # any field
        for one in plan.nodes
    )
    return replace(plan, nodes=nodes)


def _crossed(plan: Plan) -> Plan:
    """Return the plan with one side coming to two barriers the other way round."""
    meet, away = plan.barriers[0], plan.barriers[3]
    swapped = [list(meet.nodes), list(away.nodes)]
    swapped[0][1], swapped[1][1] = swapped[1][1], swapped[0][1]
    crossed = [
        replace(one, nodes=tuple(nodes), next_nodes=(-1,) * 3)
        for one, nodes in zip((meet, away), swapped, strict=True)
    ]
    plan = replace(plan, barriers=(crossed[0], *plan.barriers[1:3], crossed[1]))
    at = {node: number for number in (0, 3) for node in plan.barriers[number].nodes}
    nodes = (
        replace(one, barrier=at.get(index, one.barrier)) for index, one in enumerate(plan.nodes)
    )
    return replace(plan, nodes=tuple(nodes))


def _kept_zone(plan: Plan) -> Plan:
    """Return the plan with one side waiting at a barrier inside the zone that the other needs."""
    return _with_step(plan, "park", 0, move=Move("park", zone=0))


def _without_help(plan: Plan) -> Plan:
    """Return the plan with a question that has no answer by which it goes on."""
    options = tuple((one, "") for one in (Option.HOLD, Option.ABORT))
    return replace(plan, prompts=(replace(plan.prompts[0], options=options),))


def _back_beyond(plan: Plan) -> Plan:
    """Return the plan with a seat that is tried again from before the barrier in front of it."""
    seat = next(one for one in plan.nodes if one.name == "seat" and one.lane == 0)
    rules = tuple(replace(one, again_from=1) for one in seat.rules)
    return _with_step(plan, "seat", 0, rules=rules)


def _one_in_the_meeting(plan: Plan) -> Plan:
    """Return the plan with a barrier that forgets one of those who come to it."""
    away = plan.barriers[3]
    short = replace(
        away, lanes=away.lanes[:2], nodes=away.nodes[:2], next_nodes=away.next_nodes[:2]
    )
    return replace(plan, barriers=(*plan.barriers[:3], short))


def _rounds_apart(plan: Plan) -> Plan:
    """Return the plan with one side in its third round while the other is in its first."""
    plan = _with_step(plan, "pull", 0, record=Record(1, "pull", 1))
    return _with_step(plan, "pull", 1, record=Record(5, "pull", 3))


SPOILT = {
    "crossed": (_crossed(pair_plan()), 0, STUCK),
    "kept_zone": (_kept_zone(pair_plan()), 0, STUCK),
    "without_help": (_without_help(pair_plan()), 2, STUCK),
    "back_beyond": (_back_beyond(pair_plan()), 1, "together"),
    "one_in_the_meeting": (_one_in_the_meeting(pair_plan()), 0, "together"),
    "rounds_apart": (_rounds_apart(pair_plan()), 0, "rounds_together"),
}
"""For each the plan, how many causes it takes, and what SPIN calls what is broken."""
