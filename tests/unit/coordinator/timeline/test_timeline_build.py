"""The timeline of a whole rehearsal, judged by sums that know nothing of how it was built."""

import itertools
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from coordinator.core.effects import Effect
from coordinator.core.events import Event
from coordinator.core.plan import NodeKind
from coordinator.core.state import State
from coordinator.rehearse.rehearsal import rehearse
from coordinator.sequence import load
from coordinator.timeline.build import Interval, Timeline, build, first_divergence
from coordinator.timeline.picture import to_page, to_svg
from tests.support.sequence_files import SEQUENCES

Decided = list[tuple[Event, tuple[Effect, ...], State]]


@pytest.fixture(scope="module")
def rehearsed() -> tuple[Timeline, Decided]:
    loaded = load(SEQUENCES / "makeup_8.yaml")
    decided: Decided = []
    rehearse(loaded, listeners=(lambda *one: decided.append(one),))
    return build(loaded.plan, decided), decided


def test_every_lane_is_told_without_gap_or_overlap(rehearsed: tuple[Timeline, Decided]) -> None:
    """RC10: a moment that nobody accounts for could hide any wait."""
    made, decided = rehearsed

    assert made.end_us == max(event.at_us for event, _, _ in decided)
    for lane in range(3):
        mine = [one for one in made.intervals if one.lane == lane]
        assert sum(one.end_us - one.begin_us for one in mine) == made.end_us
        assert all(a.end_us == b.begin_us for a, b in itertools.pairwise(mine))


def test_every_step_of_the_plan_is_told_once_when_nothing_goes_wrong(
    rehearsed: tuple[Timeline, Decided],
) -> None:
    """Counted in the plan; standing by at a barrier is no work."""
    plan = load(SEQUENCES / "makeup_8.yaml").plan
    steps = [(node.lane, node.name) for node in plan.nodes if node.kind is NodeKind.STEP]
    told = [(one.lane, one.name) for one in rehearsed[0].intervals if one.kind == "work"]

    assert sorted(told) == sorted(steps)


def test_the_critical_path_covers_the_whole_run(rehearsed: tuple[Timeline, Decided]) -> None:
    """A path with a hole would blame nobody for the time in it."""
    path = rehearsed[0].critical

    assert path[0].begin_us == 0
    assert path[-1].end_us == rehearsed[0].end_us
    assert all(a.end_us == b.begin_us for a, b in itertools.pairwise(path))


def test_a_wait_is_charged_to_whoever_came_last(rehearsed: tuple[Timeline, Decided]) -> None:
    """RC11: the hoist stands at a barrier until the sides are there, never for itself."""
    made = rehearsed[0]
    waits = [one for one in made.intervals if one.kind == "wait"]

    assert all(one.charged_to for one in waits)
    assert all(one.charged_to != made.parties[one.lane] for one in waits)
    assert sum(made.waits_us().values()) == sum(one.end_us - one.begin_us for one in waits)


def test_two_runs_part_where_they_first_did_different_things(
    rehearsed: tuple[Timeline, Decided],
) -> None:
    """How long something took is no difference; what was done is."""
    made = rehearsed[0]
    slower = replace(
        made,
        intervals=tuple(
            replace(one, begin_us=one.begin_us * 2, end_us=one.end_us * 2) for one in made.intervals
        ),
    )
    place, changed = next(
        (place, one) for place, one in enumerate(made.intervals) if one.name == "pick bolt 5"
    )
    other = list(made.intervals)
    other[place] = Interval(changed.lane, "recover", "x", changed.begin_us, changed.end_us)

    found = first_divergence(made, replace(made, intervals=tuple(other)))

    assert first_divergence(made, slower) is None
    assert found is not None
    assert (found.first, found.second, found.at_us) == (
        "work pick bolt 5",
        "recover x",
        changed.begin_us,
    )


def test_the_picture_has_every_interval_and_is_the_same_each_time(
    rehearsed: tuple[Timeline, Decided],
) -> None:
    """Read by a parser of XML that knows nothing of the drawing."""
    made = rehearsed[0]
    root = ElementTree.fromstring(to_svg(made))
    bars = root.findall("{http://www.w3.org/2000/svg}g")

    assert len(bars) == len(made.intervals)
    assert to_svg(made) == to_svg(made)
    assert to_page(made).count("<tr>") == 1 + sum(one.kind != "idle" for one in made.intervals)
