"""The walk through every state: what it proves, what it finds, and what it leaves out."""

from dataclasses import replace
from pathlib import Path

import pytest

from coordinator.core.plan import Barrier, Exhausted, Move, Node, NodeKind, Party, Plan, Rule
from coordinator.prove import Limits, explore
from coordinator.prove.explore import start_of, unreached
from coordinator.prove.graph import Expander
from coordinator.prove.own import Own
from coordinator.prove.store import Store
from coordinator.sequence import load
from tests.support.pair_plan import asking_plan, pair_plan
from tests.support.sequence_files import SEQUENCES, write_sequence

SUPPORT = Path(__file__).parents[1] / "support"


def shipped(name: str) -> Plan:
    """Return the plan of a shipped sequence."""
    return load(SEQUENCES / f"{name}.yaml").plan


def crossed_plan() -> Plan:
    """Return a plan in which two lanes come to the same two barriers in opposite order."""
    order = (("one", "two"), ("two", "one"))
    nodes: list[Node] = []
    lanes: list[tuple[int, ...]] = []
    at: dict[tuple[str, int], int] = {}
    for lane, names in enumerate(order):
        members: list[int] = []
        for name in names:
            at[name, lane] = len(nodes)
            after = (members[-1],) if members else ()
            barrier = ("one", "two").index(name)
            members.append(len(nodes))
            nodes.append(Node(name, lane, NodeKind.BARRIER, after, barrier=barrier))
        members.append(len(nodes))
        nodes.append(Node("end", lane, NodeKind.STEP, (members[-2],), move=Move("park")))
        lanes.append(tuple(members))
    barriers = tuple(
        Barrier(name, (0, 1), (at[name, 0], at[name, 1]), (-1, -1)) for name in ("one", "two")
    )
    return Plan("crossed", (Party("fore"), Party("aft")), tuple(nodes), tuple(lanes), barriers)


@pytest.mark.parametrize(("causes", "states"), [(0, 71), (1, 2265)])
def test_a_sound_plan_is_proved_and_its_states_are_counted(causes: int, states: int) -> None:
    """The count betrays a walk that has quietly shrunk."""
    found = explore(pair_plan(), Limits(causes, is_cut=False))

    assert (found.is_proved, found.violations, found.states) == (True, [], states)


@pytest.mark.parametrize(
    ("plan", "causes"),
    [(pair_plan(), 1), (asking_plan(), 1), (shipped("makeup_6"), 0), (shipped("change_tools"), 2)],
)
def test_states_decided_once_stand_for_all_that_a_whole_walk_sees(plan: Plan, causes: int) -> None:
    """PV7, PV9, PV12: a walk that takes nothing as alike sees as many states."""
    whole = explore(plan, Limits(causes, is_cut=False))
    folded = explore(plan, Limits(causes))

    assert folded.stands_for == whole.stands_for
    assert (folded.is_proved, folded.sent, folded.depth) == (True, whole.sent, whole.depth)


def test_a_sequence_as_its_author_wrote_it_is_folded_too(tmp_path: Path) -> None:
    """Written from the guide alone: its last step stands in sight of where the hoist waits."""
    text = (SUPPORT / "dock_makeup.yaml").read_text(encoding="utf-8")
    plan = load(write_sequence(tmp_path, text, head="")).plan

    whole, folded = explore(plan, Limits(0, is_cut=False)), explore(plan, Limits(0))

    assert (folded.is_proved, folded.stands_for) == (True, whole.stands_for)
    assert folded.states < whole.states / 2


def test_twenty_bolts_take_hardly_more_states_than_six() -> None:
    """What is alike is decided once, whatever the bolts are called."""
    six, twenty = (explore(shipped(name), Limits(0)) for name in ("makeup_6", "makeup_20"))

    assert twenty.stands_for > 2 * six.stands_for
    assert twenty.states < 1.2 * six.states


def test_what_is_left_out_changes_no_verdict() -> None:
    """PV16: with every combination of inner steps the same plan is proved as well."""
    found = explore(pair_plan(), Limits(1, is_modular=False))

    assert found.is_proved
    assert found.states > explore(pair_plan(), Limits(1)).states


def test_barriers_in_opposite_order_leave_no_way_to_complete() -> None:
    """PV21: each waits for the other: it never completes, and only a person's stop can end it."""
    found = explore(crossed_plan(), Limits(0))

    assert {one.property for one in found.violations} == {"no_deadlock", "way_to_complete"}


def test_a_bound_that_cuts_the_walk_never_ends_in_proved() -> None:
    """PV1: not proved is told, whatever was seen until then."""
    found = explore(pair_plan(), Limits(1, states_max=100))

    assert (found.is_complete, found.is_proved) == (False, False)


def test_a_prompt_that_needs_more_causes_is_named_as_unreached() -> None:
    """Dead parts: what no interleaving reaches is told."""
    plan = pair_plan()

    assert unreached(plan, explore(plan, Limits(0))) == ("prompt trouble",)


def test_a_counterexample_names_what_happened_in_order() -> None:
    """PV8: the path is the shortest there is and says who did what."""
    found = explore(crossed_plan(), Limits(0))

    assert found.violations[0].path == ("fore is ready", "aft is ready")


@pytest.mark.parametrize("name", ["replace_bolt", "replace_bolt_20"])
def test_a_sequence_that_pulls_two_bolts_only_is_proved_too(name: str) -> None:
    """Which bolts are opposite shows in who is pulled together, not in the highest number."""
    assert explore(shipped(name), Limits(0)).is_proved


def test_a_failure_of_a_step_that_a_lane_has_gone_back_from_is_part_of_where_it_is() -> None:
    """PV12: it counts once the lane comes there again; unseen, a make-up was walked as one."""
    expander = Expander(Own(shipped("makeup_6")), Limits(2), Store(), is_orderly=True)
    start = start_of(expander)
    first, *others = start.state.lanes
    far = expander.plan.lanes[0][-1]
    gone_back = first._replace(attempts=((far, "refused", 1),))
    state = start.state._replace(lanes=(gone_back, *others))

    places, before = (expander.local.places_of(one) for one in (state, start.state))

    assert (places[0].failed, before[0].failed) == ((far,), ())
    assert expander.pieces.kind_of(places) != expander.pieces.kind_of(before)
    look = expander.local.look(start._replace(state=state), places)
    assert (
        expander.local.read(look)[0] != expander.local.read(expander.local.look(start, before))[0]
    )


def test_a_party_without_a_lane_of_its_own_does_not_stand_in_the_way() -> None:
    """Parking is proved in a cell whose hoist has nothing to do."""
    assert explore(shipped("park"), Limits(1)).is_proved


def test_opposite_bolts_are_those_that_are_pulled_together() -> None:
    """Where one bolt is replaced only its pair is pulled; of eight, bolt 3 has 7 opposite."""
    found = explore(shipped("replace_bolt"), Limits(0))

    assert (found.is_proved, found.violations) == (True, [])


def test_rule_that_aborts_inside_a_paired_span_leads_to_an_end_like_any_other() -> None:
    """Until the partner stands nothing leads to complete, and nothing is meant to."""
    plan = pair_plan()
    rules = (Rule("not_reached", 1, then=Exhausted.ABORT),)
    nodes = tuple(replace(one, rules=rules) if one.name == "pull" else one for one in plan.nodes)

    found = explore(replace(plan, nodes=nodes), Limits(1))

    assert (found.is_proved, found.violations) == (True, [])
