"""Zones and starts at barriers: what two parties may not do together."""

from dataclasses import replace

from coordinator.core.decide import begin, decide
from coordinator.core.effects import SendDo, SendMakeReady
from coordinator.core.events import Act, OperatorActed, PartyReady, PartySeen, TimePassed
from tests.support.small_plan import small_plan


def test_two_parties_are_never_armed_together_for_one_zone() -> None:
    """Z1: each alone may enter, both together may not."""
    plan = small_plan()
    nodes = tuple(
        replace(node, move=replace(node.move, zone=0))
        if node.move is not None and node.name.startswith("pull")
        else node
        for node in plan.nodes
        if node.name != "park"
    )
    nodes = tuple(replace(node, after=tuple(n - 1 for n in node.after if n > 0)) for node in nodes)
    barrier = replace(plan.barriers[0], nodes=(0, 2), next_nodes=(1, 3))
    plan = replace(plan, nodes=nodes, lanes=((0, 1), (2, 3)), barriers=(barrier,), zones=("bore",))
    state, sent = begin(plan), []
    for party in (0, 1):
        state, _ = decide(plan, state, PartySeen(1, party, 1, 0))
    state, effects = decide(plan, state, OperatorActed(2, Act.START, "mate"))

    for effect in effects:
        if isinstance(effect, SendMakeReady):
            state, more = decide(plan, state, PartyReady(3, effect.party, effect.number))
            sent += [one for one in more if isinstance(one, SendDo)]

    assert sent == []
    assert state.meetings[0].phase == "waiting"
    assert state.zones == (-1,)

    # Nobody is missing, so that what is waited for is all that a person can go by.
    at_us = state.meetings[0].deadline_us
    for party in (0, 1):
        state, _ = decide(plan, state, PartySeen(at_us, party, 1, 0))
    after, _ = decide(plan, state, TimePassed(at_us))
    assert after.reason.endswith("missing: nobody; zone bore is not free for all of them")
