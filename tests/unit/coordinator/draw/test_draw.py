"""Pictures of sequences: everything is in them, nothing overlaps, and they need nothing else."""

import re
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import pytest

from coordinator.draw import to_chart, to_mermaid, to_svg, to_unrolled_chart
from coordinator.draw.chart import Box, Chart, Frame, Gate, Mark
from coordinator.draw.layout import Layout, lay_out
from coordinator.sequence import Loaded, load
from tests.support.sequence_files import SEQUENCES, write_sequence

SHIPPED = sorted(SEQUENCES.glob("*.yaml"))
FREE_ORDER = """barriers: {both: {}, fore_and_hoist: {}}
exceptions:
  own: {interlock: string_moving, reason: "<it> & \\"that\\" is the movement"}
lanes:
  fore:
    - do: locate_joint
      id: seen
    - do: park
      id: parked
    - do: lift
      after: [seen]
    - do: index_socket
      with: {by: 10 deg}
      after: [seen, parked]
    - barrier: both
    - barrier: fore_and_hoist
  aft:
    - do: park
    - barrier: both
    - do: park
    - do: park
  hoist:
    - barrier: fore_and_hoist
    - do: bring_length
      exceptions: [own]
"""
LOADED = {path.stem: load(path) for path in SHIPPED}


def charts_of(loaded: Loaded) -> tuple[Chart, Chart]:
    """Return the folded and the unrolled chart."""
    return to_chart(loaded), to_unrolled_chart(loaded)


CHARTS = [chart for loaded in LOADED.values() for chart in charts_of(loaded)]


def flat(marks: tuple[Mark, ...]) -> list[Box | Gate]:
    """Return boxes and gates in order, without the frames."""
    found: list[Box | Gate] = []
    for mark in marks:
        found += flat(mark.inside) if isinstance(mark, Frame) else [mark]
    return found


def texts_of(svg: str) -> list[str]:
    """Return the texts of a picture as another parser reads them."""
    root = ElementTree.fromstring(svg)
    return ["".join(one.itertext()) for one in root.iter("{http://www.w3.org/2000/svg}text")]


def upright_extents(layout: Layout, lane: int) -> list[tuple[float, float]]:
    """Return (top, bottom) of every box and gate that a lane meets or that passes it."""
    boxes = [(one.y, one.y + one.height) for one in layout.boxes if one.lane == lane]
    gates = [
        (one.y, one.y + one.height) for one in layout.gates if one.lanes[0] <= lane <= one.lanes[-1]
    ]
    return sorted(boxes + gates)


@pytest.mark.parametrize("name", LOADED)
def test_the_unrolled_chart_has_every_node_of_the_plan_in_its_lane(name: str) -> None:
    """The plan is the witness: what is run is what is drawn."""
    plan = LOADED[name].plan

    drawn = [
        [mark.title for mark in flat(lane.marks)] for lane in to_unrolled_chart(LOADED[name]).lanes
    ]

    assert drawn == [
        [plan.nodes[number].name.replace("_", " ") for number in lane] for lane in plan.lanes
    ]


@pytest.mark.parametrize("name", LOADED)
def test_the_folded_chart_has_every_step_as_written(name: str) -> None:
    """Each `do` and `barrier` of lanes and used blocks stands there once for each use."""
    loaded = LOADED[name]
    origins = [{loaded.plan.nodes[one].origin for one in lane} for lane in loaded.plan.lanes]

    drawn = [len(flat(lane.marks)) for lane in to_chart(loaded).lanes]

    assert drawn == [len(one) for one in origins]


@pytest.mark.parametrize("number", range(len(CHARTS)))
def test_no_two_marks_of_a_lane_overlap(number: int) -> None:
    """A step beneath another is a step that nobody reads."""
    layout = lay_out(CHARTS[number], top=0)

    for lane in range(len(CHARTS[number].lanes)):
        extents = upright_extents(layout, lane)
        assert all(above[1] < below[0] for above, below in zip(extents, extents[1:], strict=False))


def test_a_gate_stands_below_whatever_comes_before_it_in_any_lane(tmp_path: Path) -> None:
    """Time runs downwards for all lanes alike."""
    loaded = load(write_sequence(tmp_path, FREE_ORDER))

    layout = lay_out(to_chart(loaded), top=0)

    both, passing = layout.gates
    assert (both.lanes, passing.lanes) == ((0, 1), (0, 2))
    before = [one.y + one.height for one in layout.boxes if one.lane == 0]
    assert both.y > max(before)
    assert passing.y > both.y + both.height
    assert upright_extents(layout, 1) == sorted(upright_extents(layout, 1))
    for above, below in combinations(upright_extents(layout, 1), 2):
        assert above[1] < below[0]


def test_free_order_is_drawn_from_each_step_that_is_waited_for(tmp_path: Path) -> None:
    """`after: [seen, parked]` is two lines, and none from the step above."""
    loaded = load(write_sequence(tmp_path, FREE_ORDER))

    layout = lay_out(to_chart(loaded), top=0)

    around = [one for one in layout.links if one.side is not None]
    assert len(around) == 3
    assert len({one.side for one in around}) == 2
    lift, seen = (
        next(one for one in layout.boxes if one.box.title == title)
        for title in ("lift", "locate joint")
    )
    assert (around[0].top, around[0].bottom) == (
        seen.y + seen.height / 2,
        lift.y + lift.height / 2,
    )


@pytest.mark.parametrize("number", range(len(CHARTS)))
def test_a_picture_is_sound_and_needs_nothing_else(number: int) -> None:
    """It must open on a machine without a network and survive being mailed."""
    svg = to_svg(CHARTS[number])

    root = ElementTree.fromstring(svg)
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert [*re.findall(r"https?://\S+", svg)] == ["http://www.w3.org/2000/svg'"]
    assert "<script" not in svg
    assert "<image" not in svg
    assert re.findall(r"url\(([^)]*)\)", svg).count("#paired") == svg.count("url(")


def test_everything_that_matters_is_written_in_the_picture(tmp_path: Path) -> None:
    """Form and words carry the meaning; colour alone says nothing."""
    told = texts_of(to_svg(to_chart(LOADED["makeup_8"])))

    for wanted in (
        "for each round",
        "for each pair of opposite bolts",
        "paired until pulled",
        "one fate for both sides",
        "balance 600 N·m · other side stands within 3 s",
        "despite string moving, load overhead",
        "wrench",
        "8",
    ):
        assert wanted in told
    assert any(one.startswith("hoist carries: this step carries the load itself") for one in told)


def test_signs_of_markup_in_a_text_are_shown_as_they_are(tmp_path: Path) -> None:
    """The author's words are never taken for elements."""
    loaded = load(write_sequence(tmp_path, FREE_ORDER))

    svg = to_svg(to_chart(loaded))

    assert 'own: <it> & "that" is the movement' in texts_of(svg)


@pytest.mark.parametrize("number", range(len(CHARTS)))
def test_a_mermaid_text_names_each_node_once_and_links_only_named_ones(number: int) -> None:
    """A link to a node that is nowhere would be drawn as an empty one."""
    text = to_mermaid(CHARTS[number])

    named = re.findall(r'^\s*(n\d+_\d+|gate\d+)(?:\["|\{\{")', text, re.MULTILINE)
    linked = re.findall(r"^\s*(\w+) (?:-->|==>) (\w+)$", text, re.MULTILINE)
    assert text.startswith("flowchart TB\n")
    assert len(named) == len(set(named))
    assert {one for pair in linked for one in pair} <= set(named)
    assert text.count("subgraph") == len(re.findall(r"^\s*end$", text, re.MULTILINE))
    steps = sum(isinstance(mark, Box) for lane in CHARTS[number].lanes for mark in flat(lane.marks))
    assert sum(name.startswith("n") for name in named) == steps


def test_the_same_sequence_gives_the_same_bytes() -> None:
    """A picture under version control must not change by itself."""
    first, second = (to_svg(to_chart(load(SEQUENCES / "makeup_8.yaml"))) for _ in range(2))

    assert first == second
