"""Pictures of sequences: everything is in them, nothing overlaps, and they need nothing else."""

import re
from itertools import combinations, pairwise
from pathlib import Path
from xml.etree import ElementTree

import pytest

from coordinator.draw import to_chart, to_mermaid, to_svg, to_unrolled_chart
from coordinator.draw.chart import Box, Chart, Frame, Gate, Mark
from coordinator.draw.layout import Layout, lay_out
from coordinator.draw.measure import broken, width_of
from coordinator.sequence import Loaded, load
from tests.support.sequence_files import SEQUENCES, write_sequence

SHIPPED = sorted(SEQUENCES.glob("*.yaml"))
FREE_ORDER = """barriers: {both: {timeout: 5 min}, fore_and_hoist: {timeout: 5 min}}
exceptions:
  own: {interlock: string_moving, reason: "<it> & \\"that\\" is the movement"}
  other: {interlock: load_overhead, reason: it hangs far off}
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
    - {do: park, exceptions: [own, other]}
    - {do: park, exceptions: [own, other]}
  hoist:
    - barrier: fore_and_hoist
    - do: bring_length
      exceptions: [own, other]
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
def test_the_folded_chart_has_every_step_that_its_lane_does_and_no_other(name: str) -> None:
    """A loop over bolts of which a side has none is empty on that side."""
    plan = LOADED[name].plan

    drawn = [{mark.place for mark in flat(lane.marks)} for lane in to_chart(LOADED[name]).lanes]

    assert drawn == [
        {f"{plan.nodes[one].origin.file}:{plan.nodes[one].origin.line}" for one in lane}
        for lane in plan.lanes
    ]


@pytest.mark.parametrize("number", range(len(CHARTS)))
def test_no_two_marks_of_a_lane_overlap(number: int) -> None:
    """CP2: A step beneath another is a step that nobody reads."""
    layout = lay_out(CHARTS[number], top=0)

    for lane in range(len(CHARTS[number].lanes)):
        extents = upright_extents(layout, lane)
        assert all(above[1] < below[0] for above, below in pairwise(extents))


def test_a_gate_stands_below_whatever_comes_before_it_in_any_lane(tmp_path: Path) -> None:
    """CP2: Time runs downwards for all lanes alike."""
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


def test_the_end_of_a_lane_is_not_covered_by_a_bar_that_passes_it(tmp_path: Path) -> None:
    """A ring half beneath a bar looks like a place in the barrier."""
    body = """barriers: {fore_and_hoist: {timeout: 5 min}}
lanes:
  fore: [{do: park}, {barrier: fore_and_hoist}]
  aft: [{do: park}]
  hoist: [{barrier: fore_and_hoist}]
"""
    layout = lay_out(to_chart(load(write_sequence(tmp_path, body))), top=0)

    (gate,) = layout.gates
    ((_, end),) = [one for one in layout.ends if one[0] == 1]
    assert end + 6 < gate.y


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
    assert "url(" not in svg


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


# What Mermaid reads: one statement to a line, checked against its own parser when this was written.
MERMAID = re.compile(
    r"""flowchart[ ]TB
    |\s*subgraph[ ](?P<group>\w+)\["[^"`\n]*"\]
    |\s*end
    |\s*(?P<node>\w+)(?:\["[^"`\n]*"\]|\[\["[^"`\n]*"\]\]|\{\{"[^"`\n]*"\}\})
    |\s*(?P<source>\w+)[ ](?:-->|==>)[ ](?P<target>\w+)""",
    re.VERBOSE,
)


@pytest.mark.parametrize("number", range(len(CHARTS)))
def test_a_mermaid_text_keeps_to_the_grammar_and_the_limits(number: int) -> None:
    """A page shows an error instead of the picture for one bad line, 501 links or a long text."""
    text = to_mermaid(CHARTS[number])

    found = [MERMAID.fullmatch(line) for line in text.splitlines()]
    assert None not in found
    groups, named, sources, targets = (
        [one[part] for one in found if one is not None and one[part]]
        for part in ("group", "node", "source", "target")
    )
    assert len(named + groups) == len(dict.fromkeys(named + groups))
    assert {*sources, *targets} <= {*named}
    assert len(groups) == len(re.findall(r"^\s*end$", text, re.MULTILINE))
    assert len(sources) < 500
    assert len(text) < 50_000


@pytest.mark.parametrize("number", range(len(CHARTS)))
def test_a_mermaid_text_says_every_step_in_order(number: int) -> None:
    """Steps that share a node keep a line each."""
    written = re.findall(r'^\s*n\d+_\d+\[+"(.*)"\]+$', to_mermaid(CHARTS[number]), re.MULTILINE)
    titles = [
        mark.title.replace("#", "#35;")
        for lane in CHARTS[number].lanes
        for mark in flat(lane.marks)
        if isinstance(mark, Box)
    ]

    lines = [line for label in written for line in label.split("<br/>")]

    assert [line for line in lines if line in titles] == titles


def test_signs_that_mermaid_takes_for_its_own_are_written_as_codes(tmp_path: Path) -> None:
    """The author's words of a point may hold anything."""
    point = (
        'points:\n  look: {kind: hold, who: "the <mate> & \\"crew\\"", text: "`a` # end"}\n'
        "lanes:\n  fore:\n    - point: look\n  aft:\n    - do: park\n"
    )
    loaded = load(write_sequence(tmp_path, point))

    for chart in charts_of(loaded):
        text = to_mermaid(chart)
        assert "released by the #lt;mate#gt; #amp; #quot;crew#quot;<br/>#96;a#96; #35; end" in text
        assert all(MERMAID.fullmatch(line) for line in text.splitlines())
        assert any('the <mate> & "crew"' in one for one in texts_of(to_svg(chart)))


# Widths of one line at a size of 1,000 in DejaVu Sans and DejaVu Sans Bold, read with Pillow.
FONT_WIDTHS = {
    "confirm torque bolt 12 round 3": (15392, 17404),
    "accepts 815.5 N·m to 901.3 N·m": (16275, 18077),
    "balance 600 N·m · other side stands within 3 s": (23283, 26204),
    "for each pair of opposite bolts": (15013, 17081),
    "MOVE WITH 100 % OF THE MAXIMUM": (18702, 20897),
    "illness, till: (it)": (7091, 8326),
}


@pytest.mark.parametrize("text", FONT_WIDTHS)
def test_no_text_comes_out_wider_than_was_reckoned(text: str) -> None:
    """The viewer picks the font; the widest usual one must still fit the box."""
    regular, bold = FONT_WIDTHS[text]

    assert regular <= width_of(text, 1000.0) <= 1.25 * regular
    assert bold <= width_of(text, 1000.0, bold=True) <= 1.25 * bold


@pytest.mark.parametrize("number", range(len(CHARTS)))
def test_what_is_written_on_a_mark_stays_inside_it(number: int) -> None:
    """Text over an edge is text that another mark may cover."""
    layout = lay_out(CHARTS[number], top=0)

    for one in layout.boxes:
        lines = [*(width_of(line, 13.0, bold=True) for line in one.title)]
        lines += [width_of(line, 11.5) for line in one.lines]
        lines += [width_of(line, 11.5) + 15 for line in one.despite]
        assert max(lines) + 12 < one.width
        assert 18 + 15 * (len(lines) - 1) < one.height
    for gate in layout.gates:
        first, second = gate.lanes[0], gate.lanes[0] + 1
        room = layout.middle(second) - layout.middle(first) - 16
        assert max(width_of(line, 13.5, bold=True) for line in gate.title) < room
        assert max([0.0, *(width_of(line, 11.5) for line in gate.lines)]) < room


def test_a_word_that_is_too_long_for_a_line_is_cut() -> None:
    """A name may have forty letters without a blank."""
    lines = broken("a " + "m" * 40, 120.0, 12.0)

    assert "".join(lines) == "a" + "m" * 40
    assert all(width_of(line, 12.0) <= 120.0 for line in lines)


@pytest.mark.parametrize("name", LOADED)
def test_each_step_tells_its_file_and_line_under_the_pointer(name: str) -> None:
    """A reader who sees something wrong wants to know where to put it right."""
    told = [
        one.text
        for one in ElementTree.fromstring(to_svg(to_chart(LOADED[name]))).iter(
            "{http://www.w3.org/2000/svg}title"
        )
    ][1:]

    places = {f"{node.origin.file}:{node.origin.line}" for node in LOADED[name].plan.nodes}
    assert {one for title in told for one in (title or "").split(" · ")} == places


def test_the_same_sequence_gives_the_same_bytes() -> None:
    """A picture under version control must not change by itself."""
    first, second = (to_svg(to_chart(load(SEQUENCES / "makeup_8.yaml"))) for _ in range(2))

    assert first == second
