"""Decide where on the paper each mark of a chart stands.

Each lane runs down its own column; a gate stands at one height in all its lanes, below everything
that comes before it in any of them.

Units: pixels, from the top left of the paper.
Invariants: CP2, no two marks of a lane overlap in a picture, and a gate has one height in all its
lanes.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

from coordinator.draw.chart import Box, Chart, Frame, Gate, Key, Lane, Mark
from coordinator.draw.measure import broken

MARGIN = 28
RAIL = 30
GUTTER = 44
INSET = 11
LINE = 15
HEAD = 44
TITLE, TEXT = 13.0, 11.5
"""Sizes of the writing on a mark."""
_GAP = 16
_GATE_GAP = 18
_FRAME_HEAD = 24


@dataclass(frozen=True, slots=True)
class PlacedBox:
    box: Box
    lane: int
    x: float
    y: float
    width: float
    height: float
    title: tuple[str, ...]
    """The title, broken to the width."""
    lines: tuple[str, ...]
    """The details, broken to the width."""
    despite: tuple[str, ...] = ()
    """What it moves despite of, broken to the width."""


@dataclass(frozen=True, slots=True)
class PlacedFrame:
    frame: Frame
    x: float
    y: float
    width: float
    height: float
    head: float
    """Height of the strip with its title."""
    title: tuple[str, ...]
    despite: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlacedGate:
    gate: Gate
    lanes: tuple[int, ...]
    y: float
    height: float
    title: tuple[str, ...]
    lines: tuple[str, ...]
    places: tuple[str, ...]
    """Where it is written, of each lane."""


@dataclass(frozen=True, slots=True)
class Link:
    """A piece of a lane's line: straight down, or around the side where `after` says so."""

    lane: int
    top: float
    bottom: float
    waits: bool = False
    """Whether it leads into a gate at which the lane waits for another."""
    side: float | None = None
    """How far right it goes around; None for straight down."""
    edges: tuple[float, float] = (0.0, 0.0)
    """Right edges of the box that it leaves and of the box that it comes to."""


@dataclass(frozen=True, slots=True)
class Mounted:
    """A tool on an arm, from where to where."""

    lane: int
    tool: str
    top: float
    bottom: float


@dataclass(slots=True)
class Layout:
    """Everything placed."""

    lane_width: float
    top: float
    bottom: float = 0.0
    boxes: list[PlacedBox] = field(default_factory=list)
    frames: list[PlacedFrame] = field(default_factory=list)
    gates: list[PlacedGate] = field(default_factory=list)
    links: list[Link] = field(default_factory=list)
    mounted: list[Mounted] = field(default_factory=list)
    ends: list[tuple[int, float]] = field(default_factory=list)
    """(lane, y) where a lane has nothing more to do."""

    def left(self, lane: int) -> float:
        """Return the left edge of a lane's column."""
        return MARGIN + RAIL + lane * (self.lane_width + GUTTER) + (RAIL if lane > 1 else 0)

    def middle(self, lane: int) -> float:
        """Return where a lane's line runs."""
        return self.left(lane) + self.lane_width / 2

    def right(self, lane: int) -> float:
        """Return the right edge of a lane's column."""
        return self.left(lane) + self.lane_width

    def rail(self, lane: int) -> float:
        """Return the left edge of the strip that shows the tool: outside, away from the other."""
        return self.right(lane) + RAIL - 18 if lane % 2 else self.left(lane) - RAIL


@dataclass(slots=True)
class _Open:
    """A frame whose end has not come yet."""

    frame: Frame
    y: float
    head: float
    title: tuple[str, ...]
    despite: tuple[str, ...]


_Token = Box | Gate | Frame | None
"""A box, a gate, the start of a frame, or None for the end of the innermost frame."""


@dataclass(slots=True)
class _Walk:
    """How far down a lane is."""

    lane: int
    tokens: tuple[_Token, ...]
    y: float
    at: int = 0
    open: list[_Open] = field(default_factory=list)
    tail: float | None = None
    """Lower edge of the mark above; None where nothing leads on."""
    ids: dict[str, PlacedBox] = field(default_factory=dict)
    tool: str = ""
    tool_top: float = 0.0


def lay_out(chart: Chart, *, top: float) -> Layout:
    """Place the marks of a chart below `top`."""
    layout = Layout(250.0 if chart.is_unrolled else 320.0, top)
    start = top + HEAD
    walks = [
        _Walk(number, tuple(_tokens(lane.marks)), start + _GAP, tail=start, tool_top=start)
        for number, lane in enumerate(chart.lanes)
    ]
    takes_part = _takes_part(chart.lanes)
    while True:
        for walk in walks:
            _go_down(layout, walk)
        waiting = [(walk, gate) for walk in walks if isinstance(gate := _at(walk), Gate)]
        if not waiting:
            break
        _place_gate(layout, walks, _next_key(waiting, takes_part))
    layout.ends = [(walk.lane, walk.tail + 22) for walk in walks if walk.tail is not None]
    layout.links += [
        Link(walk.lane, walk.tail, walk.tail + 16) for walk in walks if walk.tail is not None
    ]
    layout.bottom = max(walk.y for walk in walks) + 24
    for walk in walks:
        _end_tool(layout, walk, chart.lanes[walk.lane], layout.bottom)
    return layout


def _tokens(marks: tuple[Mark, ...]) -> Iterator[_Token]:
    for mark in marks:
        yield mark
        if isinstance(mark, Frame):
            yield from _tokens(mark.inside)
            yield None


def _takes_part(lanes: tuple[Lane, ...]) -> dict[Key, tuple[int, ...]]:
    found: dict[Key, tuple[int, ...]] = {}
    for number, lane in enumerate(lanes):
        for token in _tokens(lane.marks):
            if isinstance(token, Gate) and number not in found.get(token.key, ()):
                found[token.key] = (*found.get(token.key, ()), number)
    return found


def _next_key(waiting: list[tuple[_Walk, Gate]], takes_part: dict[Key, tuple[int, ...]]) -> Key:
    """Return a gate that all its lanes have come to; the first one where none is."""
    for _, gate in waiting:
        here = tuple(walk.lane for walk, other in waiting if other.key == gate.key)
        if here == takes_part[gate.key]:
            return gate.key
    # Lanes that are folded differently may seem to wait for each other; unrolled they do not.
    return waiting[0][1].key


def _at(walk: _Walk) -> _Token:
    return walk.tokens[walk.at] if walk.at < len(walk.tokens) else None


def _go_down(layout: Layout, walk: _Walk) -> None:
    """Place everything of a lane up to its next gate."""
    while walk.at < len(walk.tokens) and not isinstance(token := walk.tokens[walk.at], Gate):
        walk.at += 1
        if isinstance(token, Box):
            _place_box(layout, walk, token)
        elif isinstance(token, Frame):
            _open_frame(layout, walk, token)
        else:
            _close_frame(layout, walk)


def _open_frame(layout: Layout, walk: _Walk, frame: Frame) -> None:
    _, width = _span(layout, walk.lane, len(walk.open))
    title = tuple(broken(frame.title, width - 48, TEXT + 0.5, bold=True))
    despite = _despite_lines(frame.despite, width - 36)
    head = _FRAME_HEAD + LINE * (len(title) - 1 + len(despite))
    walk.open.append(_Open(frame, walk.y, head, title, despite))
    walk.y += head + 10


def _despite_lines(interlocks: tuple[str, ...], width: float) -> tuple[str, ...]:
    if not interlocks:
        return ()
    return tuple(broken(f"despite {', '.join(interlocks)}", width, TEXT))


def _close_frame(layout: Layout, walk: _Walk) -> None:
    ended = walk.open.pop()
    depth = len(walk.open)
    x, width = _span(layout, walk.lane, depth)
    height = walk.y - _GAP + 8 - ended.y
    layout.frames.append(
        PlacedFrame(ended.frame, x, ended.y, width, height, ended.head, ended.title, ended.despite)
    )
    walk.y = ended.y + height + _GAP


def _span(layout: Layout, lane: int, depth: int) -> tuple[float, float]:
    """Return the left edge and the width of what stands inside `depth` frames."""
    return layout.left(lane) + depth * INSET, layout.lane_width - 2 * depth * INSET


def _place_box(layout: Layout, walk: _Walk, box: Box) -> None:
    x, width = _span(layout, walk.lane, len(walk.open))
    said = (*box.details, *((f"after: {', '.join(box.after)}",) if box.after else ()))
    title = tuple(broken(box.title, width - 24, TITLE, bold=True))
    lines = tuple(line for text in said for line in broken(text, width - 24, TEXT))
    despite = _despite_lines(box.despite, width - 40)
    below = len(lines) + len(despite)
    height = 26 + LINE * (len(title) - 1 + below) + (2 if below else 0)
    placed = PlacedBox(box, walk.lane, x, walk.y, width, height, title, lines, despite)
    layout.boxes.append(placed)
    _link_box(layout, walk, placed)
    if box.id:
        walk.ids[box.id] = placed
    walk.y += height + _GAP
    walk.tail = placed.y + height
    if box.mounts:
        _change_tool(layout, walk, box.mounts, placed.y + height / 2)


def _link_box(layout: Layout, walk: _Walk, placed: PlacedBox) -> None:
    if placed.box.after is None:
        if walk.tail is not None:
            layout.links.append(Link(walk.lane, walk.tail, placed.y))
        return
    for number, name in enumerate(placed.box.after):
        earlier = walk.ids.get(name)
        if earlier is not None:
            edges = (earlier.x + earlier.width, placed.x + placed.width)
            side = max(edges) + 12 + 5 * number
            top, bottom = earlier.y + earlier.height / 2, placed.y + placed.height / 2
            layout.links.append(Link(walk.lane, top, bottom, False, side, edges))


def _place_gate(layout: Layout, walks: list[_Walk], key: Key) -> None:
    met = [(walk, gate) for walk in walks if isinstance(gate := _at(walk), Gate)]
    here = [walk for walk, gate in met if gate.key == key]
    gates = [gate for _, gate in met if gate.key == key]
    gate = gates[0]
    # A lane that takes no part is passed by too: the bar must not cover its steps.
    passed = walks[here[0].lane : here[-1].lane + 1]
    y = max(_foot(walk) for walk in passed) + _GATE_GAP - _GAP
    lanes = tuple(walk.lane for walk in here)
    # Written between the first two lanes of the barrier, clear of their lines.
    width = layout.middle(lanes[0] + 1) - layout.middle(lanes[0]) - 40
    title = tuple(broken(gate.title, width, TITLE + 0.5, bold=True))
    said = ((f"paired until {gate.opens}",) if gate.opens else ()) + gate.details
    lines = tuple(line for text in said for line in broken(text, width, TEXT))
    places = tuple(dict.fromkeys(one.place for one in gates))
    height = 11.0 + LINE * (len(title) + len(lines))
    layout.gates.append(PlacedGate(gate, lanes, y, height, title, lines, places))
    for walk in passed:
        walk.y = y + height + _GATE_GAP
    for walk in here:
        if walk.tail is not None:
            waits = y - walk.tail > _GATE_GAP + 24
            layout.links.append(Link(walk.lane, walk.tail, y, waits=waits))
        walk.at += 1
        walk.tail = y + height


def _foot(walk: _Walk) -> float:
    """Return how far down a lane reaches, with the ring at its end if it has ended."""
    has_ended = walk.at >= len(walk.tokens) and walk.tail is not None
    return walk.y + 28 if has_ended else walk.y


def _change_tool(layout: Layout, walk: _Walk, tool: str, y: float) -> None:
    if walk.tool:
        layout.mounted.append(Mounted(walk.lane, walk.tool, walk.tool_top, y))
    walk.tool, walk.tool_top = tool, y


def _end_tool(layout: Layout, walk: _Walk, lane: Lane, bottom: float) -> None:
    if walk.tool and lane.is_arm:
        layout.mounted.append(Mounted(walk.lane, walk.tool, walk.tool_top, bottom))
