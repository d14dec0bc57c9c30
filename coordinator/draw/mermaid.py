"""Write a chart as a Mermaid flowchart, for pages that draw such text themselves.

Each lane, loop and block is a subgraph; a barrier is a hexagon outside all of them that every
lane which takes part leads into and out of. Where loops are unrolled, steps that follow each other
straight share a node, one line each.

Source:
    Mermaid draws no text of more than 500 links or 50,000 characters unless its page is set up for
    more (`maxEdges`, `maxTextSize`); read from its messages.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

from coordinator.draw.chart import Box, Chart, Frame, Gate, Key, Mark

_CODES = {"#": "#35;", "&": "#amp;", '"': "#quot;", "<": "#lt;", ">": "#gt;", "`": "#96;"}
_RUN_MAX = 10
"""Steps of one node at most; chosen so that a node fits a screen."""


def to_mermaid(chart: Chart) -> str:
    """Return the text of the flowchart."""
    writer = _Writer(chart.is_unrolled)
    lines = ["flowchart TB"]
    for number, lane in enumerate(chart.lanes):
        lines.append(f'  subgraph lane{number}["{_text(lane.name)}"]')
        lines += [f"    {line}" for line in writer.lane(number, lane.marks)]
        lines.append("  end")
    lines += [f"  {line}" for line in writer.gates.values()]
    lines += [f"  {line}" for line in writer.links]
    return "\n".join(lines) + "\n"


@dataclass(slots=True)
class _Writer:
    is_unrolled: bool
    gates: dict[Key, str] = field(default_factory=dict)
    links: list[str] = field(default_factory=list)
    _count: int = 0
    _tail: str = ""
    _ids: dict[str, str] = field(default_factory=dict)

    def lane(self, number: int, marks: tuple[Mark, ...]) -> Iterator[str]:
        """Yield the lines inside a lane; gates and links are kept for later."""
        self._tail = ""
        self._ids = {}
        yield from self._marks(f"n{number}_", marks)

    def _marks(self, prefix: str, marks: tuple[Mark, ...]) -> Iterator[str]:
        for mark in _gathered(marks) if self.is_unrolled else marks:
            self._count += 1
            match mark:
                case tuple():
                    name = f"{prefix}{self._count}"
                    yield f'{name}["{_lines(*(one.title for one in mark))}"]'
                    self._lead_to(name, mark[0])
                    self._ids[mark[-1].id] = name
                case Box():
                    name = f"{prefix}{self._count}"
                    left, right = ("[[", "]]") if mark.is_point else ("[", "]")
                    said = _lines(mark.title, *mark.details, *_despite(mark))
                    yield f'{name}{left}"{said}"{right}'
                    self._lead_to(name, mark)
                case Gate():
                    self._pass(mark)
                case Frame():
                    yield f'subgraph f{self._count}["{_lines(mark.title, *_despite(mark))}"]'
                    yield from (f"  {line}" for line in self._marks(prefix, mark.inside))
                    yield "end"

    def _lead_to(self, name: str, box: Box) -> None:
        if box.after is None:
            if self._tail:
                self.links.append(f"{self._tail} --> {name}")
        else:
            known = [self._ids[one] for one in box.after if one in self._ids]
            self.links += [f"{one} --> {name}" for one in known]
        if box.id:
            self._ids[box.id] = name
        self._tail = name

    def _pass(self, gate: Gate) -> None:
        if gate.key not in self.gates:
            until = (f"paired until {gate.opens}",) if gate.opens else ()
            name = f"gate{len(self.gates)}"
            details = () if self.is_unrolled else gate.details
            said = _lines(gate.title, *until, *details)
            self.gates[gate.key] = f'{name}{{{{"{said}"}}}}'
        name = self.gates[gate.key].partition("{")[0]
        if self._tail:
            self.links.append(f"{self._tail} ==> {name}")
        self._tail = name


def _gathered(marks: tuple[Mark, ...]) -> Iterator[Mark | tuple[Box, ...]]:
    """Yield the marks with boxes that follow each other straight gathered into one."""
    named = {name: True for mark in marks if isinstance(mark, Box) for name in mark.after or ()}
    run: list[Box] = []
    for mark in marks:
        is_straight = isinstance(mark, Box) and mark.after is None and not mark.is_point
        if isinstance(mark, Box) and is_straight:
            run.append(mark)
        # A step that another names must be the last of its node, so that the link starts there.
        if run and (not is_straight or run[-1].id in named or len(run) == _RUN_MAX):
            yield tuple(run)
            run = []
        if not is_straight:
            yield mark
    if run:
        yield tuple(run)


def _despite(mark: Box | Frame) -> tuple[str, ...]:
    return (f"despite {', '.join(mark.despite)}",) if mark.despite else ()


def _lines(*texts: str) -> str:
    return "<br/>".join(_text(one) for one in texts)


def _text(text: str) -> str:
    """Return a text with the characters that Mermaid would take for its own written as codes."""
    for character, code in _CODES.items():
        text = text.replace(character, code)
    return " ".join(text.split())
