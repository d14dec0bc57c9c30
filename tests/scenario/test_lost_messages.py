"""A bus that loses messages for a while: the gaps are found, told and asked about."""

import json
from collections import defaultdict
from pathlib import Path
from typing import Any

import pytest

from coordinator.core.effects import Effect
from coordinator.core.events import Event, MessagesMissed
from coordinator.core.state import State
from coordinator.rehearse.rehearsal import rehearse
from coordinator.rehearse.simulated import BOLT_CATALOGUE, PLACED
from coordinator.sequence import load, read_case
from tests.support.sequence_files import SEQUENCES

CASE = """
case: shedding_bus
causes:
  - {{cause: loss, share: {share}, side: aft, at: 412.3 s, for: 20 s}}
acts:
  - {{act: reset, when: held, after: 70 s, by: mate}}
  - {{act: restart, when: held, after: 75 s, by: mate}}
"""
Line = dict[str, Any]


def go(path: Path, share: float) -> tuple[str, list[Line], list[MessagesMissed]]:
    """Rehearse the make-up; return its end, the trace, and the gaps that the core was told of."""
    path.write_text(CASE.format(share=share), encoding="utf-8")
    lines: list[str] = []
    gaps: list[MessagesMissed] = []

    def listen(event: Event, _: tuple[Effect, ...], __: State) -> None:
        if isinstance(event, MessagesMissed):
            gaps.append(event)

    result = rehearse(
        load(SEQUENCES / "makeup_8.yaml"),
        case=read_case(path, BOLT_CATALOGUE, placed=PLACED),
        write_line=lines.append,
        listeners=(listen,),
    )
    return result.phase, [json.loads(line) for line in lines], gaps


def missing_at(lines: list[Line], target: str) -> dict[str, int]:
    """Count from the trace alone which numbers never reached somebody, by source."""
    numbers: dict[tuple[str, str], set[int]] = defaultdict(set)
    for one in lines:
        if one["to"] == target and one["ordinal"] is not None:
            numbers[one["from"], one["subject"]].add(one["ordinal"])
    missing: dict[str, int] = defaultdict(int)
    for (source, _), seen in numbers.items():
        missing[source] += max(seen) - min(seen) + 1 - len(seen)
    return missing


@pytest.mark.timeout(180)
def test_every_message_that_the_bus_lost_is_noticed_and_the_party_says_how_it_stands(
    tmp_path: Path,
) -> None:
    """What was told is what the trace says is missing; the next number shows it at the latest."""
    phase, lines, gaps = go(tmp_path / "case.yaml", 0.15)

    party = {"fore": 0, "aft": 1}
    lost = missing_at(lines, "coordinator")
    told: dict[tuple[int, bool], int] = defaultdict(int)
    for gap in gaps:
        told[gap.party, gap.by_party] += gap.missed
    assert phase == "complete"
    assert lost["aft"] > 0
    assert told[party["aft"], False] == lost["aft"]
    assert told[party["aft"], True] == sum(missing_at(lines, "aft").values()) > 0
    assert told[party["fore"], False] == lost["fore"] == 0
    asked = [one["at_us"] for one in lines if one["type"].endswith(".askstate")]
    states = [
        one["at_us"]
        for one in lines
        if (one["from"], one["type"], one["to"])
        == ("aft", "org.bothsides.partystate", "coordinator")
    ]
    answered = [at for at in asked if any(0 < state - at < 10_000 for state in states)]
    assert len(answered) > len(asked) / 2 > 0, "all but those whose answer was lost as well"


@pytest.mark.timeout(180)
def test_a_bus_that_loses_nothing_shows_no_gap(tmp_path: Path) -> None:
    """An alarm that comes without a cause is soon looked at by nobody."""
    phase, lines, gaps = go(tmp_path / "case.yaml", 0.0)

    assert (phase, gaps) == ("complete", [])
    assert sum(missing_at(lines, "coordinator").values()) == 0
    assert not [one for one in lines if one["type"].endswith(".askstate")]
