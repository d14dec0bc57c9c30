"""The order with the shortest cycle: against every order tried by hand, and against rehearsals."""

import json
from itertools import permutations, product
from pathlib import Path

import pytest

from coordinator.best_order.freedom import free_stretches, reordered
from coordinator.best_order.measured import Measured
from coordinator.best_order.solve import find_best_order
from coordinator.cli.best_order import show_best_order
from coordinator.cli.output import Exit, Output
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


def _cycle_s(orders: tuple[tuple[int, ...], ...], first: int) -> int | None:
    """Return what two orders take if one lane locates first; None if they wait for ever.

    Place 0 of an order is the zone's; it is given back once the next step is done.
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
            at_s += TIMES_S[lane][step]
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

    assert (len(pairs), len(cycles_s)) == (36, 16)
    assert best.cycle_us == best.bound_us == min(cycles_s) * 1_000_000


def test_an_order_that_was_refused_is_not_found_again(two_free_lanes: Path) -> None:
    """What does not pass the proof must leave room for the next best."""
    loaded = load(two_free_lanes)
    found = find_best_order(loaded.plan, loaded.cell, _measured(loaded))

    other = find_best_order(loaded.plan, loaded.cell, _measured(loaded), refused=(found.orders,))

    assert other.orders != found.orders
    assert other.cycle_us >= found.cycle_us


def test_the_best_order_passes_the_proof(two_free_lanes: Path) -> None:
    """An arm that waits at a barrier inside the zone would be quick by luck of the durations."""
    loaded = load(two_free_lanes)
    best = find_best_order(loaded.plan, loaded.cell, _measured(loaded))

    assert explore(reordered(loaded.plan, best.orders), Limits(1)).is_proved


@pytest.mark.parametrize("name", ["makeup_8", "breakout_6", "change_tools"])
def test_the_model_of_the_present_order_takes_as_long_as_its_rehearsal(name: str) -> None:
    """A bound means something only if the model reckons as the rehearsal runs."""
    from coordinator.cli.best_order import _rehearsed, cycle_s

    loaded = load(SEQUENCES / f"{name}.yaml")
    _, measured = _rehearsed(loaded, 1)

    present = find_best_order(loaded.plan, loaded.cell, measured, is_fixed=True)

    assert present.cycle_us / 1e6 == pytest.approx(cycle_s(measured), rel=1e-3)


def test_a_step_is_not_moved_past_the_change_of_the_tool_that_it_needs(tmp_path: Path) -> None:
    """Freedom of order is no freedom of tools: the rules have judged the tools as written."""
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
    ended = show_best_order(Output.of(True), two_free_lanes, seed=1)

    told = json.loads(capsys.readouterr().out)
    assert ended is Exit.GOOD
    assert (told["proved"], told["shortest"], told["free"]) == (True, True, 2)
    assert told["before_s"] - told["after_s"] > 5
    assert told["after_s"] == pytest.approx(told["bound_s"], rel=0.1)


def test_a_sequence_without_freedom_is_left_as_it_stands(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """In the shipped files every step waits for the one above."""
    ended = show_best_order(Output.of(True), SEQUENCES / "park.yaml", seed=1)

    assert ended is Exit.GOOD
    assert json.loads(capsys.readouterr().out)["free"] == 0
