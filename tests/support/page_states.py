"""Snapshots of rehearsed runs, as a page is sent them.

`python -m tests.support.page_states` rehearses and keeps them anew; then the pictures are due too.
"""

import json
from collections.abc import Callable
from functools import cache

from coordinator.core.decide import begin
from coordinator.core.effects import Effect, WriteRecord
from coordinator.core.events import Event, OperatorActed
from coordinator.core.state import State
from coordinator.live.alarms import Alarms
from coordinator.live.hold_stories import HoldStories
from coordinator.operate.cell_drawing import CellDrawing
from coordinator.operate.expectation_process import expect
from coordinator.operate.signs import signs_by_fault
from coordinator.page.board import Board, Facts, Snapshot
from coordinator.records.rows import Run
from coordinator.records.windows import Calibration
from coordinator.records.write import ToolFacts, to_row
from coordinator.rehearse.rehearsal import rehearse
from coordinator.rehearse.simulated import BOLT_CATALOGUE, PLACED
from coordinator.sequence import load, read_case
from coordinator.wire.codec import adapter_of
from coordinator.wire.messages import Faulted, Finished, Message, Progressed, Trace
from tests.support.sequence_files import SEQUENCES

KINDS = {f'"org.bothsides.{one.__name__.lower()}"': one for one in (Progressed, Finished, Faulted)}
CASES = SEQUENCES.parent / "tests" / "page" / "cases"
KEPT = CASES.parent / "recorded_states.json"
DAY = "2026-12-01T06:00:00+00:00"
Wanted = Callable[[Snapshot], bool]


class Recorder:
    """A board in a rehearsed run; keeps the first snapshot of each wanted state.

    Args:
        sequence: File below `sequences/`.
        case: File below `sequences/cases/`, empty for none.
        wanted: Name of a state to what a snapshot of it must be like.
        tools: Calibrations by which the records are judged; None asks for none.
    """

    def __init__(
        self,
        sequence: str,
        case: str,
        wanted: dict[str, Wanted],
        tools: tuple[Calibration, ...] | None = None,
    ) -> None:
        self.loaded = load(SEQUENCES / sequence)
        self.plan = self.loaded.plan
        facts = Facts(
            "20261201T060000Z",
            True,
            1.0,
            self.loaded.joint,
            geometry=CellDrawing(self.loaded),
            parked=tuple(self.loaded.cell.sides),
            begins=self.loaded.begins.removeprefix("joint_"),
        )
        self.board = Board(self.plan, begin(self.plan), facts, signs_by_fault())
        self.board.alarms, self.board.stories = Alarms(self.plan), HoldStories(self.plan)
        self.found: dict[str, Snapshot] = {}
        self.wanted = wanted
        self._traces: dict[int, Trace] = {}
        self._looked_us = -1_000_000
        name = "20261201T060000Z"
        self._run = Run(name, self.loaded.joint.name, self.plan.name, simulated=True, tools=tools)
        rehearse(
            self.loaded,
            case=read_case(SEQUENCES / "cases" / case, BOLT_CATALOGUE, placed=PLACED)
            if case
            else None,
            write_line=self.hear,
            listeners=(self.board.alarms, self.board.stories, self),
        )

    def hear(self, line: str) -> None:
        """Let the board hear what the coordinator is about to hear."""
        kind = next((one for mark, one in KINDS.items() if mark in line), None)
        if kind is None:
            return
        told = json.loads(line)
        if told["to"] == "coordinator":
            body = adapter_of(kind).validate_python(told["data"])
            if isinstance(body, Finished | Faulted) and body.trace is not None:
                self._traces[body.command] = body.trace
            source = told["from"]
            self.board.hear(Message(source, source, told["sequence"], 1, told["sent_us"], body))

    def __call__(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        """Take in one decision; look twice a second, and before and after each act of a person."""
        if isinstance(event, OperatorActed):
            self._look(event.at_us)
        self.board(event, effects, state)
        for effect in effects:
            if isinstance(effect, WriteRecord):
                trace = self._traces.get(effect.command, Trace())
                tool = "wrench" if trace.pressure_pa else "spinner"
                facts = ToolFacts(trace, tool, True, DAY)
                row = to_row(self.plan, self._run, effect, facts)
                if row is not None:
                    self.board.take_record(row, event.at_us)
        is_due = event.at_us >= self._looked_us + 500_000 or isinstance(event, OperatorActed)
        ended = self.board.has_ended
        if is_due or ended:
            self._looked_us = event.at_us
            self._look(event.at_us + 1_000)

    def _look(self, at_us: int) -> None:
        snapshot = self.board.snapshot(at_us)
        for name, is_wanted in self.wanted.items():
            if name not in self.found and is_wanted(snapshot):
                self.found[name] = snapshot


def _pulling(now: Snapshot) -> bool:
    courses = now["pull"]["courses"]
    torques = [course[-1][1] for course in courses.values()]
    return (
        now["now"]["key"] == "pair"
        and now["pull"]["round"] == 3
        and len(torques) == 2
        and min(torques) > 2000
        and "3" in str(now["pull"]["bolts"])
    )


def _in_round(number: int) -> Wanted:
    return lambda now: now["now"]["key"] == "pair" and now["pull"]["round"] == number


@cache
def states() -> dict[str, Snapshot]:
    """Return every recorded state by its name, as kept: pictures change with the page alone."""
    kept: dict[str, Snapshot] = json.loads(KEPT.read_text(encoding="utf-8"))
    return kept


def rehearsed() -> dict[str, Snapshot]:
    """Rehearse every state anew, to be kept."""
    rejected = Recorder(
        "makeup_8.yaml",
        "",
        {"finished-rejected": lambda now: now["phase"] == "complete"},
        (
            Calibration("fore", "wrench", "2026-08-03", "2027-08-03"),
            Calibration("fore", "spinner", "2026-08-03", "2027-08-03"),
            Calibration("aft", "wrench", "2026-05-11", "2026-11-11"),
            Calibration("aft", "spinner", "2026-08-03", "2027-08-03"),
        ),
    ).found
    twenty = Recorder("makeup_20.yaml", "", {"twenty-bolts": _in_round(2)}).found
    held = Recorder(
        "makeup_8.yaml",
        str(CASES / "held_by_mate.yaml"),
        {"held": lambda now: now["phase"] == "held"},
    ).found
    clean = Recorder(
        "makeup_8.yaml",
        "",
        {
            "start": lambda now: now["now"]["key"] == "ready",
            "running-up": lambda now: now["at_s"] > 700,
            "pulling": _pulling,
            "finished-accepted": lambda now: now["phase"] == "complete",
        },
    ).found
    asked = Recorder(
        "makeup_8.yaml", "low_supply_aft.yaml", {"prompt": lambda now: bool(now["prompts"])}
    ).found
    person = Recorder(
        "makeup_8.yaml",
        "person_steps_in.yaml",
        {
            "alarm": lambda now: now["phase"] == "held",
            "floor-clear-again": lambda now: (
                now["now"]["act"] == "reset"
                and any(one["act"] == "reset" and one["applies"] for one in now["acts"])
            ),
            "reset": lambda now: now["now"]["act"] == "restart",
        },
    ).found
    found = {**clean, **asked, **person, **held, **rejected}
    expected = expect(str(SEQUENCES / "makeup_8.yaml"), None, 1)
    if expected is not None:
        for one in found.values():
            one["to_go"], one["ahead"] = expected.to_go(one), expected.ahead(one)
    return {**found, **twenty}


if __name__ == "__main__":
    KEPT.write_text(json.dumps(rehearsed(), separators=(",", ":")) + "\n", encoding="utf-8")
