"""The order with the shortest cycle: against every order tried by hand, and against rehearsals."""

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise, permutations, product
from pathlib import Path

import pytest

from coordinator.best_order.found import Shown, Trials
from coordinator.best_order.freedom import free_stretches, reordered
from coordinator.best_order.lane_order import lay_out
from coordinator.best_order.measured import Measured
from coordinator.best_order.search import search
from coordinator.best_order.solve import find_best_order
from coordinator.cli.asked import DryRunAsked
from coordinator.cli.best_order import _rehearsed, cycle_s, show_best_order
from coordinator.cli.output import Exit, Output
from coordinator.core.plan import Plan, Rule
from coordinator.prove import Limits, explore
from coordinator.sequence import Loaded, load
from tests.support.sequence_files import SEQUENCES, write_sequence

_LANE = """
    - {do: park, id: begin}
    - {do: locate_joint, after: [begin]}
    - {do: change_tool, with: {tool: wrench}, after: [begin]}
    - {do: lift, after: [begin]}
    - barrier: seen
    - do: park
"""
TWO_FREE_LANES = f"barriers:\n  seen: {{timeout: 30 min}}\nlanes:\n  fore:{_LANE}  aft:{_LANE}"
BEGIN_S, MEETING_S, PARK_S = 7, 1, 11
TIMES_S = ((20, 34, 3), (25, 30, 8))
"""For each lane how long locating (in the zone), changing the tool and lifting take."""


@pytest.fixture
def two_free_lanes(tmp_path: Path) -> Path:
    """Return a sequence in which only one arm at a time may locate, and much is left free."""
    path = write_sequence(tmp_path, TWO_FREE_LANES)
    cell = tmp_path / "cells" / "sill_point.yaml"
    text = cell.read_text(encoding="utf-8")
    assert "locate_joint: {raises" in text
    cell.write_text(text.replace("locate_joint: {", "locate_joint: {zone: bore, ", 1), "utf-8")
    return path


def _measured(loaded: Loaded) -> Measured:
    """Return made-up durations of a run of the two lanes."""
    steps_us = {}
    for lane, nodes in enumerate(loaded.plan.lanes[:2]):
        for node, time_s in zip(nodes, (BEGIN_S, *TIMES_S[lane], 0, PARK_S), strict=True):
            if loaded.plan.nodes[node].move is not None:
                steps_us[node] = time_s * 1_000_000
    return Measured(steps_us, {0: MEETING_S * 1_000_000}, 0, 0)


def _no_way(before: int, step: int) -> int:
    """Return what a way takes where none takes anything."""
    return 0


def _cycle_s(
    orders: tuple[tuple[int, ...], ...], first: int, way_s: Callable[[int, int], int] = _no_way
) -> int | None:
    """Return what two orders take if one lane locates first; None if they wait for ever.

    A way is added to each step, from the one before it; -1 is what all begin with. Place 0 of an
    order is the zone's; it is given back once the next step is done.
    """
    leased_s: int | None = None
    ends_s = {}
    for lane in (first, 1 - first):
        at_s, order = BEGIN_S, orders[lane]
        for place, step in enumerate(order):
            if step == 0 and lane != first:
                if leased_s is None:
                    return None
                at_s = max(at_s, leased_s)
            at_s += TIMES_S[lane][step] + way_s(order[place - 1] if place else -1, step)
            if place and order[place - 1] == 0 and lane == first:
                leased_s = at_s
        ends_s[lane] = at_s
    return max(ends_s.values()) + MEETING_S + PARK_S


def test_the_best_order_is_the_shortest_of_all_that_are_tried_one_by_one(
    two_free_lanes: Path,
) -> None:
    """Two lanes, six orders each, either first in the zone: 72 cycles reckoned by hand.

    An order in which one of the two waits for ever is none, however the durations would have it.
    """
    loaded = load(two_free_lanes)
    both = product(permutations(range(3)), repeat=2)
    pairs = [(_cycle_s(orders, 0), _cycle_s(orders, 1)) for orders in both]
    cycles_s = [min(one, other) for one, other in pairs if one is not None and other is not None]

    best = find_best_order(loaded.plan, loaded.cell, _measured(loaded))

    assert best is not None
    assert (len(pairs), len(cycles_s)) == (36, 16)
    assert best.cycle_us == best.bound_us == min(cycles_s) * 1_000_000


def test_an_order_that_was_refused_is_not_found_again(two_free_lanes: Path) -> None:
    """What does not pass the proof must leave room for the next best."""
    loaded = load(two_free_lanes)
    found = find_best_order(loaded.plan, loaded.cell, _measured(loaded))
    assert found is not None

    other = find_best_order(loaded.plan, loaded.cell, _measured(loaded), refused=(found.orders,))

    assert other is not None
    assert other.orders != found.orders
    assert other.cycle_us >= found.cycle_us


def test_the_best_order_passes_the_proof(two_free_lanes: Path) -> None:
    """An arm that waits at a barrier inside the zone would be quick by luck of the durations."""
    loaded = load(two_free_lanes)
    best = find_best_order(loaded.plan, loaded.cell, _measured(loaded))

    assert best is not None
    assert explore(reordered(loaded.plan, best.orders), Limits(1)).is_proved


@pytest.mark.parametrize("name", ["makeup_8", "breakout_6", "change_tools"])
def test_the_model_of_the_present_order_takes_as_long_as_its_rehearsal(name: str) -> None:
    """A bound means something only if the model reckons as the rehearsal runs."""
    loaded = load(SEQUENCES / f"{name}.yaml")
    _, measured = _rehearsed(loaded, 1)

    present = find_best_order(loaded.plan, loaded.cell, measured, is_fixed=True)

    assert present is not None
    assert present.cycle_us / 1e6 == pytest.approx(cycle_s(measured), rel=1e-3)


def test_a_step_is_not_moved_past_the_change_of_the_tool_that_it_needs(tmp_path: Path) -> None:
    """BO2: freedom of order is no freedom of tools: the rules have judged the tools as written."""
    steps = """
    - {do: park, id: begin}
    - {do: change_tool, with: {tool: wrench}, after: [begin]}
    - {do: turn_wrench_over, after: [begin]}
    - {do: locate_joint, after: [begin]}
"""
    path = write_sequence(tmp_path, f"lanes:\n  fore:{steps}  aft: [{{do: park}}]\n")
    loaded = load(path)
    (free,) = free_stretches(loaded.plan, loaded.cell)

    assert (1, 2) in free.before
    assert not {(1, 3), (3, 1), (2, 3), (3, 2)} & set(free.before)


def test_a_rehearsal_in_the_best_order_is_shorter_and_keeps_to_the_bound(
    two_free_lanes: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Before and after are both run on the simulated arms, whatever the solver says."""
    ended = show_best_order(Output.of(True), two_free_lanes, DryRunAsked())

    told = json.loads(capsys.readouterr().out)
    assert ended is Exit.GOOD
    assert (told["proved"], told["shortest"], told["free"]) == (True, True, 2)
    assert told["before_s"] - told["after_s"] > 5
    assert told["after_s"] == told["bound_s"]
    assert (told["shown"], told["rehearsed"]) == ("every order was rehearsed", 36)


def _lane_of_covers(steps: Sequence[str], pin: str) -> str:
    """Return a lane that takes the gripper, does some of its steps, and meets the other."""
    said = {
        "cover": "{do: fit_cover, id: c, after: [g]}",
        "uncover": "{do: take_cover, id: tc, after: [c]}",
        "pin": f"{{do: fit_pin, with: {{hole: $joint.{pin}, turns: 5}}, id: p, after: [g]}}",
    }
    lines = [
        "{do: change_tool, with: {tool: gripper}, id: g}",
        *(said[one] for one in steps),
        f"{{do: take_pin, with: {{hole: $joint.{pin}, turns: 5}}, after: [p, tc]}}",
        "barrier: met",
        "do: park",
    ]
    return "".join(f"    - {line}\n" for line in lines)


def _covers(fore: Sequence[str], aft: Sequence[str]) -> str:
    lanes = _lane_of_covers(fore, "pin_first"), _lane_of_covers(aft, "pin_second")
    return f"barriers:\n  met: {{timeout: 5 min}}\nlanes:\n  fore:\n{lanes[0]}  aft:\n{lanes[1]}"


def test_no_order_written_out_by_hand_rehearses_shorter_than_the_best(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What a cover takes depends on what the other arm did: no time of a step alone tells it."""
    orders = [("cover", "uncover", "pin"), ("cover", "pin", "uncover"), ("pin", "cover", "uncover")]
    cycles_s = []
    for fore, aft in product(orders, repeat=2):
        loaded = load(write_sequence(tmp_path, _covers(fore, aft)))
        result, measured = _rehearsed(loaded, 1)
        assert result.phase == "complete"
        cycles_s.append(cycle_s(measured))

    path = write_sequence(tmp_path, _covers(orders[0], orders[0]))
    ended = show_best_order(Output.of(True), path, DryRunAsked())

    told = json.loads(capsys.readouterr().out)
    assert ended is Exit.GOOD
    assert (told["before_s"], told["after_s"]) == (cycles_s[0], min(cycles_s))
    assert told["bound_s"] == min(cycles_s)


def test_what_no_time_of_a_step_tells_is_found_by_rehearsing_on_once_the_bound_is_met(
    tmp_path: Path,
) -> None:
    """BO5: the cover that the other arm has put in is quick to fit: one rehearsal in 9 sees it."""
    loaded = load(write_sequence(tmp_path, _covers(*[("cover", "uncover", "pin")] * 2)))
    _, present = _rehearsed(loaded, 1)

    def rehearse(plan: Plan) -> Measured | None:
        return _rehearsed(replace(loaded, plan=plan), 1)[1]

    def prove(plan: Plan) -> bool:
        return explore(plan, Limits(0)).is_proved

    trials = Trials(rehearse, prove)
    every = search(loaded.plan, loaded.cell, present, trials)
    some = search(loaded.plan, loaded.cell, present, trials, rehearsals_max=8)

    assert (every.shown, some.shown) == (Shown.EVERY, Shown.MEASURED)
    assert some.measured.cycle_us == every.measured.cycle_us < present.cycle_us - 30_000_000


def _way_s(before: int, step: int) -> int:
    """Return what a way takes that depends on where the step before has left the arm."""
    return ((before + 2) * 7 + step * 5) % 13 * 2


class _MadeUpArms:
    """Take as long for each step as it takes after the step before it."""

    def __init__(self, loaded: Loaded) -> None:
        self.loaded = loaded
        self.rehearsed = 0

    def rehearse(self, plan: Plan) -> Measured | None:
        """Return what an order takes, if it does not wait for ever."""
        self.rehearsed += 1
        made_up = _measured(self.loaded)
        steps_us, ways_us, orders = dict(made_up.steps_us), {}, []
        for lane, nodes in enumerate(plan.lanes[:2]):
            places = lay_out(plan)
            done = sorted(nodes, key=lambda node: places.of[node])[:4]
            orders.append(tuple(nodes.index(one) - 1 for one in done[1:]))
            for one, then in pairwise(done):
                before, step = nodes.index(one) - 1, nodes.index(then) - 1
                took_us = (TIMES_S[lane][step] + _way_s(before, step)) * 1_000_000
                steps_us[then] = ways_us[one, then] = took_us
        both = [_cycle_s(tuple(orders), first, _way_s) for first in (0, 1)]
        if None in both:
            return None
        end_us = min(one for one in both if one is not None) * 1_000_000
        return replace(made_up, steps_us=steps_us, ways_us=ways_us, end_us=end_us)

    def prove(self, plan: Plan) -> bool:
        """Return what the proof says; it knows nothing of durations."""
        return explore(plan, Limits(0)).is_proved


def _shortest_s() -> int:
    """Return the shortest cycle of all, reckoned by hand with the ways between steps."""
    both = product(permutations(range(3)), repeat=2)
    pairs = [[_cycle_s(orders, first, _way_s) for first in (0, 1)] for orders in both]
    return min(one for pair in pairs if None not in pair for one in pair if one is not None)


def test_of_more_orders_than_may_be_rehearsed_the_shortest_is_found_and_the_bound_meets_it(
    two_free_lanes: Path,
) -> None:
    """BO6: the model is taught by what it offered, until nothing that is left can be shorter."""
    loaded = load(two_free_lanes)
    arms = _MadeUpArms(loaded)
    present = arms.rehearse(loaded.plan)
    assert present is not None

    trials = Trials(arms.rehearse, arms.prove)
    found = search(loaded.plan, loaded.cell, present, trials, rehearsals_max=35)

    assert found.shown is Shown.MEASURED
    assert found.rehearsed == arms.rehearsed
    assert found.measured.cycle_us == found.bound_us == _shortest_s() * 1_000_000


def test_a_search_that_ends_early_says_that_nothing_is_shown(two_free_lanes: Path) -> None:
    """A bound below the best that was rehearsed must not be called reached."""
    loaded = load(two_free_lanes)
    arms = _MadeUpArms(loaded)
    present = arms.rehearse(loaded.plan)
    assert present is not None

    trials = Trials(arms.rehearse, arms.prove)
    found = search(loaded.plan, loaded.cell, present, trials, rehearsals_max=2)

    assert (found.shown, found.is_shortest, found.rehearsed) == (Shown.NOT, False, 2)
    assert found.bound_us <= _shortest_s() * 1_000_000 <= found.measured.cycle_us


def test_a_sequence_without_freedom_is_left_as_it_stands(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """In the shipped files every step waits for the one above."""
    ended = show_best_order(Output.of(True), SEQUENCES / "park.yaml", DryRunAsked())

    assert ended is Exit.GOOD
    assert json.loads(capsys.readouterr().out)["free"] == 0


def test_what_a_barrier_releases_stays_first_whatever_is_free_after_it(tmp_path: Path) -> None:
    """BO1: both sides of a span are released into the same steps as written."""
    lane = """
    - {do: park, id: begin}
    - barrier: seen
    - {do: lift, after: [begin]}
    - {do: park, after: [begin]}
    - {do: locate_joint, after: [begin]}
"""
    barriers = "barriers:\n  seen: {timeout: 30 min}\n"
    path = write_sequence(tmp_path, f"{barriers}lanes:\n  fore:{lane}  aft:{lane}")
    loaded = load(path)

    free = free_stretches(loaded.plan, loaded.cell)

    firsts = {one for barrier in loaded.plan.barriers for one in barrier.next_nodes}
    assert [(one.nodes[0] in firsts, len(one.nodes)) for one in free] == [(True, 3)] * 2
    assert [one.before for one in free] == [
        ((one.nodes[0], one.nodes[1]), (one.nodes[0], one.nodes[2])) for one in free
    ]


def test_steps_that_a_rule_does_again_keep_the_order_of_the_file(two_free_lanes: Path) -> None:
    """BO3: going back from the last to the first must find the steps between as written."""
    loaded = load(two_free_lanes)
    plan = loaded.plan
    _, again, _, last, *_ = plan.lanes[0]
    rule = Rule("missed", again_from=again)
    nodes = tuple(
        replace(node, rules=(rule,)) if index == last else node
        for index, node in enumerate(plan.nodes)
    )

    (before, _) = free_stretches(plan, loaded.cell)
    kept = [one for one in free_stretches(replace(plan, nodes=nodes), loaded.cell) if one.lane == 0]

    assert before.is_free
    assert kept == []


def test_the_same_measures_give_the_same_order_again(two_free_lanes: Path) -> None:
    """BO4: an order that changed from call to call could not be reviewed."""
    loaded = load(two_free_lanes)

    found = [find_best_order(loaded.plan, loaded.cell, _measured(loaded)) for _ in range(3)]

    assert found[0] is not None
    assert found == [found[0]] * 3
