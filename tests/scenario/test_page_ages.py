"""Every value of the page that came over the bus stands beside its age, or the time it is of.

A walk over whole snapshots: each leaf must be on one of two lists, so that a value that is added
later cannot be shown without anybody having said how old it is.
"""

import json
from collections.abc import Iterator
from copy import deepcopy
from functools import cache
from typing import Any

import pytest

from coordinator.core.decide import begin
from coordinator.core.effects import Effect, WriteRecord
from coordinator.core.events import Event, MessagesMissed
from coordinator.core.plan import Plan
from coordinator.core.state import State
from coordinator.live.alarms import Alarms
from coordinator.live.hold_stories import HoldStories
from coordinator.operate.cell_drawing import CellDrawing
from coordinator.page.board import Board, Facts, Snapshot
from coordinator.page.text_view import to_text
from coordinator.rehearse.rehearsal import rehearse
from coordinator.rehearse.simulated import BOLT_CATALOGUE, PLACED
from coordinator.sequence import load, read_case
from coordinator.wire.codec import adapter_of
from coordinator.wire.messages import Faulted, Finished, Message, Progressed
from tests.support.sequence_files import SEQUENCES

DATED = {
    "lanes.*.doing": "since_s",
    "lanes.*.unmet.*": "../since_s",
    "lanes.*.next": "since_s",
    "lanes.*.act.*": "../since_s",
    "lanes.*.is_waiting": "since_s",
    "lanes.*.next_act.*": "../since_s",
    "lanes.*.done": "since_s",
    "lanes.*.last_done": "since_s",
    "lanes.*.is_online": "seen_s",
    "lanes.*.is_held": "seen_s",
    "lanes.*.is_faulted": "since_s",
    "missed.*.messages": "at_s",
    "missed.*.by_party": "at_s",
    "barriers.*.phase": "parties.0.at_s",
    "barriers.*.parties.*.state": "at_s",
    "interlocks.*.value": "age_s",
    "interlocks.*.is_latched": "age_s",
    "interlocks.*.is_first_out": "age_s",
    "alarms.*.state": "since_s",
    "alarms.*.is_first": "since_s",
    "prompts.*.fault": "asked_at_s",
    "prompts.*.evidence.*": "../evidence_at_s",
    "notices.*.text": "at_s",
    "bolts.*.state": "at_s",
    "bolts.*.stage": "at_s",
    "bolts.*.round": "at_s",
    "cell.arms.*.place": "at_s",
    "cell.arms.*.goes_to": "at_s",
    "cell.arms.*.links.*.*": "../../at_s",
    "cell.arms.*.towards.*": "../at_s",
    "cell.arms.*.tool": "at_s",
    "cell.arms.*.reaction_on": "at_s",
    "strip.segments.*.kind": "begin_s",
    "strip.segments.*.label": "begin_s",
    "strip.barriers.*.name": "at_s",
    "strip.marks.*.text": "at_s",
    "bolts.*.word": "at_s",
    "bolts.*.torque_nm": "at_s",
    "bolts.*.share": "at_s",
    "bolts.*.preload_kn.*": "../at_s",
    "pull.courses.*.*.*": "../../../at_s.{1}",
}
"""What came over the bus -> where its age or time stands, seen from the value's own place; `{1}`
is what the second star stands for... counted from the left, from 0."""
OWN = (
    *("run", "sequence", "joint", "simulated", "banner", "caution", "speed", "at_s", "mode"),
    *("phase", "reason", "caps", "overrides.*.*"),  # The procedure is ours; people set the rest.
    *("lanes.*.name", "lanes.*.is_arm", "lanes.*.since_s", "lanes.*.seen_s", "lanes.*.steps"),
    *("missed.*.party", "missed.*.at_s"),
    *("barriers.*.name", "barriers.*.left_s", "barriers.*.parties.*.name"),
    *("barriers.*.parties.*.at_s", "interlocks.*.name", "interlocks.*.kind", "interlocks.*.age_s"),
    *("interlocks.*.cause", "interlocks.*.consequence", "interlocks.*.operator_action"),
    *("alarms.*.name", "alarms.*.since_s", "alarms.*.cause", "alarms.*.consequence"),
    *("alarms.*.operator_action", "alarms.*.who", "alarms.*.why"),
    *("prompts.*.number", "prompts.*.side", "prompts.*.step", "prompts.*.text"),
    *("prompts.*.caution", "prompts.*.owner", "prompts.*.causes.*.*", "prompts.*.foreseen.*"),
    *("prompts.*.options.*.*", "prompts.*.asked_at_s", "prompts.*.evidence_at_s"),
    *("notices.*.at_s", "notices.*.severity", "notices.*.kind"),
    *("bolts.*.bolt", "bolts.*.side", "bolts.*.at_s", "bolts.*.kind"),
    # What they follow from stands beside them with its age or its times.
    *("interlocks.*.words", "pull.words", "pull.is_wide"),
    *("pull.balance_nm", "pull.is_paired", "pull.target_nm", "pull.at_s.*"),
    *("interlocks.*.signal", "pull.round", "pull.rounds", "pull.bolts.*", "prompts.*.about.*"),
    *("cell.drawing.*", "cell.drawing.bolts.*.*", "cell.drawing.sides.*.*.*", "cell.arms.*.side"),
    *("cell.arms.*.at_s", "strip.lanes.*", "strip.segments.*.lane", "strip.segments.*.begin_s"),
    *("strip.segments.*.end_s", "strip.barriers.*.at_s", "strip.barriers.*.lanes.*"),
    *("strip.barriers.*.is_pair", "strip.marks.*.at_s", "strip.marks.*.severity"),
    *("strip.marks.*.lane", "acts.*.act", "acts.*.applies", "acts.*.why"),
    *("joint_verdict.is_accepted", "joint_verdict.open.*"),  # Of the records, whose times are kept.
    # Things that stay as they were put until somebody reports otherwise: the strip has the times.
    *("cell.cover.is_in", "cell.pins.*", "cell.bolts_in.*", "cell.pipe"),
    # Chosen from what stands elsewhere in the same snapshot, with its time there.
    *("now.*", "now.about.*", "now.bolts.*", "now.busy.*.side", "now.busy.*.act.*", "now.sides.*"),
    "holds.*.*",  # Lines that begin with a time each: looked at by themselves.
)
"""What the plan, the clock, the catalogue or a person says."""
UNSAID = {"bolts.*": ("nothing proved yet", "open", "pending")}
KINDS = {f'"org.bothsides.{one.__name__.lower()}"': one for one in (Progressed, Finished, Faulted)}
Place = tuple[str, ...]


def leaves(value: Any, place: Place = ()) -> Iterator[tuple[Place, Any]]:
    """Return every leaf with its place."""
    if isinstance(value, dict | list):
        items = value.items() if isinstance(value, dict) else enumerate(value)
        for key, one in items:
            yield from leaves(one, (*place, str(key)))
    else:
        yield place, value


def pattern_of(place: Place) -> str | None:
    """Return the entry of either list that a place fits."""
    for pattern in (*DATED, *OWN):
        parts = pattern.split(".")
        if len(parts) == len(place) and all(
            part in ("*", key) for part, key in zip(parts, place, strict=True)
        ):
            return pattern
    return None


def at(snapshot: Snapshot, place: Place) -> Any:
    """Return what stands at a place."""
    value: Any = snapshot
    for key in place:
        value = value[int(key)] if isinstance(value, list) else value[key]
    return value


def age_of(snapshot: Snapshot, place: Place, pattern: str) -> Any:
    """Return the age or time that is shown for a dated value."""
    where, base = DATED[pattern], list(place[:-1])
    while where.startswith("../"):
        where, base = where[3:], base[:-1]
    if "{1}" in where:
        where = where.replace("{1}", place[2])
    return at(snapshot, (*base, *where.split(".")))


def findings(snapshot: Snapshot) -> list[str]:
    """Return every leaf that nobody has spoken for, and every dated one without its time."""
    found = []
    for place, value in leaves(snapshot):
        pattern = pattern_of(place)
        if value is None and pattern is None:
            continue  # Nothing is shown, so nothing needs a time.
        if pattern is None:
            found.append(f"{'.'.join(place)} is on neither list")
        elif pattern in DATED and value not in (None, "", False):
            age = age_of(snapshot, place, pattern)
            is_unsaid = value in UNSAID.get(f"{place[0]}.*", ()) or value == "unknown"
            if not isinstance(age, int | float) and not is_unsaid:
                found.append(f"{'.'.join(place)} is {value!r} and has no time")
    return found


class Watched:
    """A board in a rehearsed run, looked at again and again."""

    def __init__(self, plan: Plan, board: Board) -> None:
        self.plan = plan
        self.board = board
        self.snapshots: list[Snapshot] = []
        self._events = 0
        self._at_hand = (0, "")

    def hear(self, line: str) -> None:
        """Let the board hear what the coordinator is about to hear."""
        kind = next((one for mark, one in KINDS.items() if mark in line), None)
        if kind is None:
            return
        told = json.loads(line)
        if told["to"] == "coordinator":
            body = adapter_of(kind).validate_python(told["data"])
            source = told["from"]
            self.board.hear(Message(source, source, told["sequence"], 1, told["sent_us"], body))

    def __call__(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        """Take in one decision, and look at every hundredth and at each that changes much."""
        self.board(event, effects, state)
        for effect in effects:
            if isinstance(effect, WriteRecord):
                self._prove(effect, event.at_us)
        self._events += 1
        at_hand = len(state.prompts), state.phase
        if self._events % 100 == 0 or at_hand != self._at_hand:
            self._at_hand = at_hand
            self.snapshots.append(self.board.snapshot(event.at_us + 1_000))

    def _prove(self, effect: WriteRecord, at_us: int) -> None:
        record = self.plan.nodes[effect.node].record
        if record is not None:
            torque_nm = dict(effect.results).get("torque_nm")
            row = {"bolt": record.bolt, "side": "fore", "verdict": "accepted", "kind": "pull"}
            more = {"round": record.round, "torque_nm": torque_nm, "target_nm": record.target_nm}
            self.board.take_record(row | more, at_us)


@cache
def run(case: str) -> Watched:
    """Rehearse the make-up with a case before the board's eyes."""
    loaded = load(SEQUENCES / "makeup_8.yaml")
    state = begin(loaded.plan)
    facts = Facts("run", True, 1.0, loaded.joint, geometry=CellDrawing(loaded), begins="open")
    board = Board(loaded.plan, state, facts)
    board.alarms, board.stories = Alarms(loaded.plan), HoldStories(loaded.plan)
    watched = Watched(loaded.plan, board)
    rehearse(
        loaded,
        case=read_case(SEQUENCES / "cases" / case, BOLT_CATALOGUE, placed=PLACED),
        write_line=watched.hear,
        listeners=(board.alarms, board.stories, watched),
    )
    aft = MessagesMissed(1, 1, 2)
    board(aft, (), watched.board._state)
    watched.snapshots.append(board.snapshot(2))
    return watched


@pytest.mark.timeout(240)
def test_no_value_from_the_bus_is_shown_without_its_age_or_time() -> None:
    """PG2: over whole runs with a prompt, measured evidence, holds, barriers, pulls and records."""
    seen: dict[str, int] = {}
    for case in ("low_supply_aft.yaml", "person_steps_in.yaml"):
        for snapshot in run(case).snapshots:
            assert findings(snapshot) == []
            for place, value in leaves(snapshot):
                if value not in (None, "", False):
                    pattern = pattern_of(place) or ""
                    seen[pattern] = seen.get(pattern, 0) + 1

    rare = {"missed.*.by_party", "lanes.*.is_held"}
    assert {one for one in DATED if one not in seen} <= rare, "each was there to be looked at"


@pytest.mark.timeout(120)
def test_the_walk_finds_what_is_new_and_what_has_lost_its_time() -> None:
    """Else a page without any ages would pass."""
    snapshot = deepcopy(run("low_supply_aft.yaml").snapshots[-2])
    snapshot["lanes"][0]["oil_c"] = 40
    snapshot["interlocks"][0]["age_s"] = None
    snapshot["bolts"][0]["at_s"] = None

    assert [one for one in findings(snapshot) if "oil_c" in one]
    assert [one for one in findings(snapshot) if one.startswith("interlocks.0.value")]
    assert [one for one in findings(snapshot) if one.startswith("bolts.0.word")]


@pytest.mark.timeout(120)
def test_the_page_as_text_and_the_stories_of_holds_tell_times_too() -> None:
    """Whoever has no pictures reads the same ages."""
    watched = run("person_steps_in.yaml")
    held = next(one for one in reversed(watched.snapshots) if one["holds"])
    text = to_text(held).splitlines()

    assert all(" s" in story[0] and "HOLD at " in story[0] for story in held["holds"])
    assert all("s " in line for story in held["holds"] for line in story[1:])
    for lane in held["lanes"]:
        (line,) = [one for one in text if one.startswith(f"{lane['name']}: ")]
        assert " since " in line
        assert "heard " in line or "NOT ON THE BUS" in line
    proved = [one for one in text if one.startswith("bolt ") and "nothing proved" not in one]
    assert all(", at " in one for one in proved)
