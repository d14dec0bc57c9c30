"""Every fault of either side at every moment of a paired span, judged from the bus alone."""

import json
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest

from coordinator.rehearse.rehearsal import Rehearsal, rehearse
from coordinator.rehearse.simulated import BOLT_CATALOGUE, PLACED
from coordinator.sequence import Loaded, load, read_case
from tests.support.span_judge import Bounds, Delivery, Pull, SpanJudge
from tests.support.span_sequence import BOLTS, write_break_span, write_pull_span

SECOND_US = 1_000_000
MOMENTS = ("before arming", "armed", "first stroke", "at 99 %", "one has finished")
FAULTS = {
    "supply sinks": "{{cause: supply_low, side: {side}, pressure: 2 MPa, {when}}}",
    "hose leaks": "{{cause: leak, side: {side}, {when}}}",
    "reaction slips": "{{cause: reaction_slip, side: {side}, {when}}}",
    "cable is cut": "{{cause: party_cut, side: {side}, {when}}}",
    "process dies": "{{cause: party_restarts, side: {side}, down: 5 s, {at}}}",
    "bus loses all": "{{cause: loss, share: 1.0, {when}}}",
    "bus is late": "{{cause: delay, share: 0.5, time: 300 ms, {when}}}",
    "somebody steps in": "{{cause: person_steps_in, {when}}}",
    "string moves": "{{cause: string_moves, {when}}}",
    "scanner is silent": "{{cause: scanner_silent, {when}}}",
}
ONE_SIDED = ("supply sinks", "hose leaks", "reaction slips", "cable is cut", "process dies")
DEAF = ("cable is cut", "process dies", "bus loses all", "bus is late")
"""Causes that keep word from one side to the other."""
PEOPLE = (
    """
acts:
"""
    + 6
    * (
        "  - {act: reset, when: held, after: 25 s, by: mate}\n"
        "  - {act: restart, when: held, after: 26 s, by: mate}\n"
    )
)
ANSWERS = "answers:\n" + 6 * "  - {prompt: trouble, answer: again, by: mate}\n"
UNKNOWN = 4 * "  - {prompt: unknown_outcome, answer: again, by: mate}\n"
KINDS = {
    "pull": (write_pull_span, "confirm_torque", 2, 600.0),
    "break_loose": (write_break_span, "", 1, 4500.0),
}
"""Of each span: its writer, what follows inside it, a seed in which one side ends well before the
other where there is one, and the balance band of the files."""
CASES = [
    (fault, moment, side)
    for fault in FAULTS
    for moment in MOMENTS
    for side in (BOLTS if fault in ONE_SIDED else ("fore",))
]


@pytest.fixture(scope="module")
def loads(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Loaded]:
    """Return what loads the sequence of a span, once each."""
    folder = tmp_path_factory.mktemp("spans")

    @cache
    def loaded(action: str) -> Loaded:
        (folder / action).mkdir()
        return load(KINDS[action][0](folder / action))

    return loaded


def go(loaded: Loaded, seed: int, case: Path | None) -> tuple[Rehearsal, list[Delivery]]:
    """Rehearse the span; return its end and every delivery that is about a command."""
    given = read_case(case, BOLT_CATALOGUE, placed=PLACED) if case else None
    lines: list[str] = []
    result = rehearse(loaded, seed=seed, case=given, write_line=lines.append)
    return result, [json.loads(line) for line in lines if '"command":' in line]


@cache
def moment_us(loaded_of: Callable[[str], Loaded], action: str, moment: str) -> int:
    """Return when a moment of the span comes while nothing is wrong."""
    _, follows, seed, _ = KINDS[action]
    _, deliveries = go(loaded_of(action), seed, None)
    judge = SpanJudge(deliveries, action, follows)
    (pair,) = judge.meetings()
    first = min(one.started_us for one in pair)
    if moment == "before arming":
        return min(one.done_us for one in pair) - SECOND_US
    if moment == "armed":
        return first - 100_000
    if moment == "first stroke":
        return first + SECOND_US
    if moment == "at 99 %":
        return min(_near_us(one) for one in pair)
    return min(one.ended_us for one in pair) + 1_000


def _near_us(pull: Pull) -> int:
    most_nm = max(torque_nm for _, torque_nm in pull.peaks)
    return next(at_us for at_us, torque_nm in pull.peaks if torque_nm >= 0.99 * most_nm)


def case_text(fault: str, side: str, at_us: int) -> str:
    """Return a case with one fault for 20 s, and people who put things right."""
    at = f"at: {at_us} us"
    cause = FAULTS[fault].format(side=side, when=f"{at}, for: 20 s", at=at)
    return f"case: span\ncauses:\n  - {cause}\n{PEOPLE}{ANSWERS}{UNKNOWN}"


@pytest.mark.parametrize("action", KINDS)
@pytest.mark.parametrize("case", CASES, ids=", ".join)
def test_a_fault_of_one_side_in_a_paired_span_is_the_fate_of_both(
    loads: Callable[[str], Loaded], tmp_path: Path, action: str, case: tuple[str, str, str]
) -> None:
    """S3, S4, S6: bounded stop of the partner, the band kept, both again together, none alone."""
    _, follows, seed, balance_nm = KINDS[action]
    fault, moment, side = case
    loaded = loads(action)
    path = tmp_path / "case.yaml"
    at_us = moment_us(loads, action, moment)
    path.write_text(case_text(fault, side, at_us), encoding="utf-8")
    most_nm = loaded.joint.torque_nm * 1.05 if action == "pull" else 4500.0
    bounds = Bounds(
        window_us=50_000,
        balance_nm=balance_nm,
        stop_us=3 * SECOND_US,
        torque_nm_most=most_nm,
        deaf_us=2 * SECOND_US if fault in DEAF else BUS_LATE_US,
    )

    result, deliveries = go(loaded, seed, path)

    judge = SpanJudge(deliveries, action, follows)
    told = [text.text for _, text in result.notices]
    assert judge.findings(bounds) == [], told
    assert result.phase == "complete", told  # What was wrong is over, and people went on.
    last = judge.started()[-1]
    assert [one.ending for one in last] == ["finished", "finished"]
    assert sorted(one.bolt for one in last) == sorted(BOLTS.values())
    for again in judge.repeats():
        assert again.angle_rad <= ANGLE_RAD_MAX or action != "pull", again


BUS_LATE_US = 100_000
"""Told at once; a bus that is well takes a few milliseconds."""
ANGLE_RAD_MAX = 0.035
"""2 degrees, the check angle of the joint: a bolt that was pulled may turn no further."""


def test_the_judge_finds_what_it_looks_for() -> None:
    """A judge that cannot find anything would pass everything."""
    bounds = Bounds(50_000, 600.0, 3 * SECOND_US, 3200.0, BUS_LATE_US)

    def told(kind: str, side: str, at_us: int, **data: object) -> Delivery:
        data = {"command": 1 if side == "fore" else 2, **data}
        return {
            "type": f"org.bothsides.{kind}",
            "at_us": at_us,
            "sent_us": at_us,
            "subject": side,
            "data": data,
        }

    def begun(side: str, start_us: int) -> list[Delivery]:
        asked = {"action": "pull", "barrier": "pull/1", "parameters": {"bolt": BOLTS[side]}}
        return [
            told("do", side, 0, **asked),
            told("release", side, 10, start_us=1_000),
            told("started", side, start_us, started_us=start_us),
        ]

    def felt(side: str, at_us: int, torque_nm: float) -> Delivery:
        return told("progressed", side, at_us, torque_nm=torque_nm)

    def ended(kind: str, side: str, at_us: int) -> Delivery:
        return told(kind, side, at_us, results={"torque_nm": 3000.0, "angle_rad": 0.1})

    def of(*deliveries: Delivery) -> list[str]:
        found = SpanJudge(list(deliveries), "pull", "confirm_torque").findings(bounds)
        return [" ".join(text.split()[1:4]) for text in found]

    both = begun("fore", 1_000) + begun("aft", 9_000)
    well = [ended("finished", "fore", 9_000_000), ended("finished", "aft", 9_000_000)]
    follows = told("do", "fore", 9_500_000, command=3, action="confirm_torque", barrier=None)
    bad = [ended("faulted", "aft", 4_000_000), ended("interrupted", "fore", 9_000_000)]

    assert of(*both, *well) == []
    assert of(*begun("fore", 1_000), ended("finished", "fore", 9_000_000)) == ["pulled alone for"]
    assert of(*begun("fore", 1_000), *begun("aft", 60_000), *well) == 2 * ["pulled alone for"]
    assert of(*both, *bad) == ["stood 5.0 s"]
    assert of(*both, bad[0]) == ["never ended after"]
    assert of(*both, *bad, follows) == ["stood 5.0 s", "went on in"]
    apart = [felt("fore", 2_000_000, 100.0), felt("aft", 2_000_000, 800.0)]
    assert of(*both, *apart, *well) == 2 * ["pulled on 7.0"]
    assert of(*both, felt("aft", 2_000_000, 3300.0), *well) == [
        *(2 * ["pulled on 7.0"]),
        "pulled bolt 5",
    ]
