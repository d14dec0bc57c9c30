"""Write a chart as a Mermaid flowchart, for pages that draw such text themselves.

Each lane, loop and block is a subgraph; a barrier is a hexagon outside all of them that every
lane which takes part leads into and out of.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

from coordinator.draw.chart import Box, Chart, Frame, Gate, Key, Mark


def to_mermaid(chart: Chart) -> str:
    """Return the text of the flowchart."""
    writer = _Writer()
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
        for mark in marks:
            self._count += 1
            match mark:
                case Box():
                    name = f"{prefix}{self._count}"
                    yield f'{name}["{_lines(mark.title, *mark.details, *_despite(mark))}"]'
                    self._lead_to(name, mark)
                case Gate():
                    self._pass(mark)
                case Frame():
                    yield f'subgraph f{self._count}["{_text(mark.title)}"]'
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
            said = _lines(gate.title, *until, *gate.details)
            self.gates[gate.key] = f'{name}{{{{"{said}"}}}}'
        name = self.gates[gate.key].partition("{")[0]
        if self._tail:
            self.links.append(f"{self._tail} ==> {name}")
        self._tail = name


def _despite(box: Box) -> tuple[str, ...]:
    return (f"despite {', '.join(box.despite)}",) if box.despite else ()


def _lines(*texts: str) -> str:
    return "<br/>".join(_text(one) for one in texts)


def _text(text: str) -> str:
    """Return a text with the characters that Mermaid would take for its own written as codes."""
    return text.replace("#", "#35;").replace('"', "#quot;").replace("<", "#lt;")
