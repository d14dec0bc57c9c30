"""Keep the strip of time that the page shows: lanes as boxes, barriers, alarms as marks.

Steps that follow one another in one loop of the sequence are one box; the whole of it is in the
timeline of a run.

Units: ``*_us`` whole microseconds since the run began; snapshots in seconds.
"""

from dataclasses import dataclass, field
from typing import Any

from coordinator.core.effects import Effect, Notify, RaisePrompt
from coordinator.core.events import Event
from coordinator.core.plan import Plan
from coordinator.core.state import Meeting, MeetingPhase, State
from coordinator.timeline.build import doing_of

SEGMENTS_MAX = 400
MARKS_MAX = 60
"""Chosen: what a strip of a thousand pixels can show; the oldest go first."""
SHORT_US = 15_000_000
"""Chosen: a wait shorter than this between two steps of one loop is part of its box."""


@dataclass(slots=True)
class _Box:
    lane: int
    kind: str
    label: str
    begin_us: int
    end_us: int


@dataclass(slots=True)
class StripWatch:
    """Listens to the coordinator."""

    plan: Plan
    _boxes: list[_Box] = field(default_factory=list)
    _open: dict[int, _Box] = field(default_factory=dict)
    _barriers: list[dict[str, Any]] = field(default_factory=list)
    _marks: list[dict[str, Any]] = field(default_factory=list)
    _labels: dict[int, str] = field(default_factory=dict)
    _meetings: tuple[Meeting, ...] = ()

    def __call__(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        """Take in one decision."""
        at_us = event.at_us
        for lane in range(len(self.plan.parties)):
            kind, _, node = doing_of(self.plan, state, lane)
            self._take(lane, kind, self._label(kind, node), at_us)
        if state.meetings is not self._meetings:
            before, self._meetings = self._meetings, state.meetings
            for index, meeting in enumerate(state.meetings):
                was = before[index].phase if before else ""
                if meeting.phase == MeetingPhase.RELEASED and was != MeetingPhase.RELEASED:
                    self._release(at_us, index)
        for effect in effects:
            match effect:
                case RaisePrompt():
                    name = self.plan.nodes[effect.node].name
                    self._mark(at_us, "warning", f"prompt: {name}", effect.party)
                case Notify(severity="alarm"):
                    self._mark(at_us, "alarm", effect.text, effect.party)

    def shown(self, now_us: int) -> dict[str, Any]:
        """Return the strip up to now."""
        boxes = sorted([*self._boxes, *self._open.values()], key=lambda one: one.begin_us)
        return {
            "lanes": [party.name for party in self.plan.parties],
            "segments": [
                {
                    "lane": one.lane,
                    "kind": one.kind,
                    "label": one.label,
                    "begin_s": round(one.begin_us / 1e6, 1),
                    "end_s": round(self._end_us(one, now_us) / 1e6, 1),
                }
                for one in boxes[-SEGMENTS_MAX:]
            ],
            "barriers": list(self._barriers),
            "marks": list(self._marks),
        }

    def _end_us(self, one: _Box, now_us: int) -> int:
        return now_us if one is self._open[one.lane] else one.end_us

    def _take(self, lane: int, kind: str, label: str, at_us: int) -> None:
        current = self._open.get(lane)
        if current is None:
            self._open[lane] = _Box(lane, kind, label, at_us, at_us)
            return
        current.end_us = at_us
        if (kind, label) == (current.kind, current.label):
            return
        is_short = current.kind == "wait" and at_us - current.begin_us < SHORT_US
        last = next((one for one in reversed(self._boxes) if one.lane == lane), None)
        if is_short and last is not None and (last.kind, last.label) == (kind, label):
            self._boxes.remove(last)
            self._open[lane] = last
            return
        if current.end_us > current.begin_us:
            self._boxes.append(current)
        self._open[lane] = _Box(lane, kind, label, at_us, at_us)

    def _release(self, at_us: int, index: int) -> None:
        barrier = self.plan.barriers[index]
        shown = {
            "name": barrier.name,
            "at_s": round(at_us / 1e6, 1),
            "lanes": list(barrier.lanes),
            "is_pair": bool(self.plan.nodes[barrier.nodes[0]].loops),
        }
        self._barriers = [*self._barriers, shown][-SEGMENTS_MAX:]

    def _mark(self, at_us: int, severity: str, text: str, lane: int) -> None:
        at_s = round(at_us / 1e6, 1)
        mark = {"at_s": at_s, "severity": severity, "text": text, "lane": lane}
        self._marks = [*self._marks, mark][-MARKS_MAX:]

    def _label(self, kind: str, node: int) -> str:
        if kind in ("wait", "idle", "held") or node < 0:
            return ""
        if node not in self._labels:
            self._labels[node] = self._name(node)
        return self._labels[node]

    def _name(self, node: int) -> str:
        """Return the round, what the loop around a step proves, or the step itself."""
        loops = self.plan.nodes[node].loops
        if not loops:
            return self.plan.nodes[node].name
        for kind, which in loops:
            if kind == "round":
                return f"round {which}"
        kinds = [kind for kind, _ in loops]
        for other in self.plan.lanes[self.plan.nodes[node].lane]:
            record = self.plan.nodes[other].record
            if record is not None and [kind for kind, _ in self.plan.nodes[other].loops] == kinds:
                return record.kind
        return kinds[0].replace("_", " ")
