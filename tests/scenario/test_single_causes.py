"""Every cause of the catalogue, once, over the whole make-up; judged from the messages alone."""

import json
from collections import defaultdict
from pathlib import Path
from typing import Any

import pytest

from coordinator.rehearse.rehearsal import Rehearsal, rehearse
from coordinator.rehearse.simulated import BOLT_CATALOGUE, PLACED
from coordinator.sequence import load, read_case
from sim_arms.causes import CATALOGUE
from tests.support.sequence_files import SEQUENCES

PULLS = ("pull", "check_torque")
SPOKEN = ("do", "release", "started", "interrupted", "floorsignals")
MARKS = tuple(f'"org.bothsides.{name}"' for name in SPOKEN)
FLOOR_AGE_US = 1_500_000
"""As the cell file says: an older signal counts for nothing."""
WINDOW_US = 50_000
"""As the sequence says of its paired barriers."""
STOP_US = 3_000_000
"""As the sequence says of its paired barriers: the other side stops within this time."""
NEVER_US = 1 << 60
LAST_ROUND, LOOKING, CHANGING = "1314 s", "412.3 s", "0 s"
MOMENTS = {
    "supply_low": LAST_ROUND,
    "leak": LAST_ROUND,
    "reaction_slip": LAST_ROUND,
    "loss": LAST_ROUND,
    "duplicate": LAST_ROUND,
    "delay": LAST_ROUND,
    "reorder": LAST_ROUND,
    "clock_step": LAST_ROUND,
    "air_in_oil": LAST_ROUND,
    "valve_sticks": LAST_ROUND,
    "pawl_worn": LAST_ROUND,
    "gauge_reads_high": LAST_ROUND,
    "tool_lock_fails": CHANGING,
    "gripper_slips": CHANGING,
}
"""Causes that show only while the arms do something in particular."""
LASTING = (
    *("fork_slips", "glare", "slow_arm", "lens_dirty", "camera_knocked", "travel_switch_stuck"),
    "coupling_open",
)
"""Causes that act for as long as the run lasts, or until they have acted once."""
QUIET = (
    *("seized_bolt", "friction_high"),  # Of breaking out; of preload, which no wrench sees.
    *("gauge_reads_high", "air_in_oil", "pawl_worn"),  # The gauge agrees; more time, more strokes.
    *("duplicate", "delay", "reorder"),  # What the bus does to messages, and the link bears.
    "stale_retained",  # Whose mark everybody sees.
    "load_overhead_stays",  # Under a named exception.
)
"""Causes that a make-up may take no notice of; all others must show in what people are told."""
PEOPLE = """
acts:
  - {act: reset, when: held, after: 70 s, by: mate}
  - {act: restart, when: held, after: 75 s, by: mate}
"""


def case_of(name: str) -> str:
    """Return a case with one cause, from its moment on, for a minute where it has a moment."""
    kind = CATALOGUE[name]
    where = {"bolt": "bolt: 3", "side": "side: aft", "process": "side: aft"}.get(kind.applies_to)
    where = "side: aft" if kind.placed else where
    when = f"at: {MOMENTS.get(name, LOOKING)}, for: 60 s"
    if name == "heave":
        when = f"at: {LOOKING}"  # After the pins, and from then on.
    if kind.applies_to == "bolt" or name in LASTING:
        when = ""
    parts = ", ".join(part for part in (f"cause: {name}", where, when) if part)
    return f"case: one_cause\ncauses:\n  - {{{parts}}}\n{PEOPLE}"


def go(path: Path) -> tuple[Rehearsal, list[dict[str, Any]]]:
    """Rehearse the make-up with a case; return its end and the deliveries that matter here."""
    case = read_case(path, BOLT_CATALOGUE, placed=PLACED)
    lines: list[str] = []
    result = rehearse(load(SEQUENCES / "makeup_8.yaml"), case=case, write_line=lines.append)
    return result, [json.loads(line) for line in lines if any(mark in line for mark in MARKS)]


def of_kind(deliveries: list[dict[str, Any]], name: str) -> list[dict[str, Any]]:
    """Return the deliveries of one body type."""
    return [one for one in deliveries if one["type"] == f"org.bothsides.{name}"]


def moved_while_unsafe(deliveries: list[dict[str, Any]]) -> list[str]:
    """Return the motion commands that left while the floor was not known to be clear."""
    wrong, clear, heard_us = [], None, -FLOOR_AGE_US
    signals = [
        (one["at_us"], one["data"]["signals"]["floor_clear"])
        for one in of_kind(deliveries, "floorsignals")
        if one["to"] == "coordinator"
    ]
    commands = sorted(
        ((one["sent_us"], one) for kind in ("do", "release") for one in of_kind(deliveries, kind)),
        key=lambda pair: pair[0],
    )
    for sent_us, one in commands:
        while signals and signals[0][0] <= sent_us:
            heard_us, clear = signals.pop(0)
        if clear is not True or sent_us - heard_us > FLOOR_AGE_US:
            wrong.append(f"{one['type']} to {one['to']} at {sent_us}: floor_clear is {clear}")
    return wrong


def pulled_alone(deliveries: list[dict[str, Any]]) -> list[str]:
    """Return the pulls that started without the opposite bolt's starting together with it.

    A release that reaches only one side in time cannot be called back; that side must then be
    brought to rest within the stop time of the sequence.
    """
    rest_us = {
        (one["subject"], one["data"]["command"]): one["sent_us"]
        for one in of_kind(deliveries, "interrupted")
    }
    bolts = {
        (one["subject"], one["data"]["command"]): one["data"]["parameters"]["bolt"]
        for one in of_kind(deliveries, "do")
        if one["data"]["action"] in PULLS
    }
    starts: dict[int, list[tuple[int, int]]] = defaultdict(list)
    release_us = {
        (one["subject"], one["data"]["command"]): one["data"]["start_us"]
        for one in of_kind(deliveries, "release")
    }
    for one in of_kind(deliveries, "started"):
        key = (one["subject"], one["data"]["command"])
        if key in bolts:
            ran_us = rest_us.get(key, NEVER_US) - one["sent_us"]
            starts[release_us[key]].append((bolts[key], ran_us))
    return [
        f"bolts {[bolt for bolt, _ in pulled]} at {start_us}"
        for start_us, pulled in starts.items()
        if {(bolt - 1) % 4 for bolt, _ in pulled} != {(pulled[0][0] - 1) % 4}
        or (
            len({bolt for bolt, _ in pulled}) != 2
            and not (len(pulled) == 1 and pulled[0][1] <= STOP_US)
        )
    ]


@pytest.mark.parametrize("name", CATALOGUE)
def test_one_cause_at_one_moment_ends_well_or_held_and_nobody_pulls_alone(
    tmp_path: Path, name: str
) -> None:
    """Whatever happens to one part, the joint is made up or everybody stands and knows why."""
    path = tmp_path / "case.yaml"
    path.write_text(case_of(name), encoding="utf-8")

    result, deliveries = go(path)

    told = [notice.text for _, notice in result.notices]
    assert result.phase in ("complete", "held", "aborted", "stopped", "holding"), told[-5:]
    if result.phase == "holding":
        assert any(party in text for text in told for party in ("fore", "aft", "hoist")), told
    assert result.reason or result.phase == "complete"
    shown = [notice for _, notice in result.notices if notice.severity in ("warning", "alarm")]
    assert shown or name in QUIET
    assert moved_while_unsafe(deliveries) == []
    assert pulled_alone(deliveries) == []
    assert len(of_kind(deliveries, "do")) > 20  # Else nothing was judged.


def test_the_judges_find_what_they_look_for() -> None:
    """A judge that cannot find anything would pass everything."""

    def delivery(kind: str, at_us: int, subject: str = "fore", **data: Any) -> dict[str, Any]:
        said = {"type": f"org.bothsides.{kind}", "at_us": at_us, "sent_us": at_us, "data": data}
        to = "coordinator" if kind in ("started", "floorsignals") else subject
        return said | {"subject": subject, "to": to}

    def pull(side: str, command: int, bolt: int) -> list[dict[str, Any]]:
        return [
            delivery("do", 10, side, command=command, action="pull", parameters={"bolt": bolt}),
            delivery("release", 11, side, command=command, start_us=20),
            delivery("started", 20, side, command=command),
        ]

    clear = delivery("floorsignals", 5, "floor", signals={"floor_clear": True})
    person = delivery("floorsignals", 5, "floor", signals={"floor_clear": False})
    both = pull("fore", 1, 3) + pull("aft", 2, 7)

    assert (moved_while_unsafe([clear, *both]), pulled_alone(both)) == ([], [])
    assert len(moved_while_unsafe([person, *both])) == 4
    assert len(moved_while_unsafe([clear, delivery("do", 2_000_000)])) == 1
    assert pulled_alone(both[:-1]) == ["bolts [3] at 20"]
    assert pulled_alone(pull("fore", 1, 3) + pull("aft", 2, 6)) == ["bolts [3, 6] at 20"]
