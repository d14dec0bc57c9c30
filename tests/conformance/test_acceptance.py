"""Acceptance of an arm's driver: honest ones pass every line, bad ones fail at theirs."""

import asyncio
import contextlib
import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from coordinator.commissioning.acceptance import Report, accept
from coordinator.commissioning.lines import LINES
from coordinator.commissioning.probe import Motion, Probe
from coordinator.wire.codec import encode
from coordinator.wire.messages import FloorSignals, Message
from coordinator.wire.topics import (
    subscriptions_of_coordinator,
    subscriptions_of_party,
    topic_of,
)
from tests.support.bad_drivers import BAD, BAD_RESTARTS, Tampered, as_it_comes, as_it_goes, honest
from tests.support.memory_bus import MemoryBus
from tests.support.nodes import run_node

CELL = "bench"
MOTIONS = [Motion("change_tool", {"tool": "spinner"}), Motion("change_tool", {"tool": "wrench"})]


def clock_us() -> int:
    return time.time_ns() // 1_000


async def look(
    party: Tampered,
    codes: tuple[str, ...] = (),
    restart: Callable[[Tampered], None] = Tampered.restart,
) -> Report:
    """Take a party through lines on a bus in memory; a person does what is asked beside it."""
    bus = MemoryBus()

    def say_floor(is_good: bool) -> None:
        body = FloorSignals({"floor_clear": is_good})
        message = Message("floor", "floor", 1, 1, clock_us(), body)
        bus.post(f"bothsides/{CELL}/floor/signals", encode(message))

    async def floor() -> None:
        while True:
            say_floor(is_good[0])
            await asyncio.sleep(0.2)

    def person(what: str) -> None:
        if "signal" in what:
            is_good[0] = "good again" in what
            say_floor(is_good[0])
        else:
            link.sever()
            restart(party)
            link.mend()

    async def memory(message: Message, is_kept: bool) -> None:
        bus.post(topic_of(CELL, message), encode(message) if is_kept else b"", retain=True)

    is_good = [True]
    link = bus.link(CELL, subscriptions_of_party(CELL, "fore"))
    tasks = [
        asyncio.create_task(run_node(party, link)),  # type: ignore[arg-type]  # has what it takes
        asyncio.create_task(floor()),
    ]
    ours = bus.link(CELL, subscriptions_of_coordinator(CELL))
    probe = Probe(
        ours, "fore", clock_us, MOTIONS, torque=("pull", "torque"), person=person, memory=memory
    )
    probe.start_late_s_max = 0.5  # A machine that tests much at once wakes up late.
    try:
        return await accept(probe, cell=CELL, by="Ada", at="2030-01-01T00:00:00Z", codes=codes)
    finally:
        for task in tasks:
            task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await asyncio.gather(*tasks, return_exceptions=True)


def test_a_driver_made_with_the_kit_passes_every_line() -> None:
    """CM2, KT1: the kit keeps the contract; what it says of itself stands in the report."""
    report = asyncio.run(look(Tampered(honest(), as_it_comes, as_it_goes)))

    assert [(one.code, one.text) for one in report.seen if one.result != "passed"] == []
    assert len(report.seen) == len(LINES) == 28
    assert (report.is_passed, report.simulated, report.by) == (True, False, "Ada")
    assert json.loads(json.dumps(report.document()))["passed"] is True
    assert {one.by for one in report.seen} == {"Ada"}
    assert [one.at for one in report.seen] == sorted(one.at for one in report.seen)


def test_a_party_that_calls_itself_simulated_stands_so_in_the_report() -> None:
    """CM2: an acceptance of a simulation must not pass for one of an arm."""
    party = Tampered(honest(is_simulated=True), as_it_comes, as_it_goes)

    assert asyncio.run(look(party, (LINES[0].code,))).simulated is True


def test_a_clock_as_good_as_it_must_be_passes_every_line() -> None:
    """In whole milliseconds, up to 8 ms behind: 12.5 ms are let pass, a quarter of the window."""

    async def both() -> list[Report]:
        behind = [Tampered(honest(), as_it_comes, as_it_goes, behind_us=us) for us in (1, 8_000)]
        return await asyncio.gather(*[look(party) for party in behind])

    reports = asyncio.run(both())

    told = [(one.code, one.text) for it in reports for one in it.seen if one.result != "passed"]
    assert told == []
    assert [len(report.seen) for report in reports] == [len(LINES)] * 2


@pytest.mark.parametrize("behind_s", [0.3, -0.3, 300, -300])
def test_a_clock_that_is_off_fails_the_line_for_the_clock(behind_s: float) -> None:
    """300 ms is six windows: it passed while half a second was let pass. 300 s is told as such."""
    party = Tampered(honest(), as_it_comes, as_it_goes, behind_us=round(behind_s * 1e6))

    report = asyncio.run(look(party, ("ARM24",)))

    assert report.failed == ("ARM24",)
    text = report.seen[0].text
    assert ("ms behind the cell's" if behind_s > 0 else "ms ahead of the cell's") in text
    assert "set it by NTP or PTP" in text


def test_each_driver_that_breaks_a_promise_fails_at_its_line() -> None:
    """CM1, CM5: an acceptance that cannot fail accepts anything. Each on a bus of its own."""

    async def all_of_them() -> list[Report]:
        parties = [
            look(Tampered(honest(), coming, going), (code,)) for code, coming, going in BAD.values()
        ]
        return await asyncio.gather(*parties)

    reports = dict(zip(BAD, asyncio.run(all_of_them()), strict=True))

    assert len(reports) >= 20
    expected = {name: (code,) for name, (code, _, _) in BAD.items()}
    assert {name: report.failed for name, report in reports.items()} == expected
    assert not any(report.is_passed for report in reports.values())


@pytest.mark.parametrize("name", BAD_RESTARTS)
def test_a_driver_that_wakes_up_wrongly_fails_at_its_line(name: str) -> None:
    """Only a new start shows it."""
    code, restart, coming = BAD_RESTARTS[name]
    party = Tampered(honest(), coming, as_it_goes)

    report = asyncio.run(look(party, (code,), restart))

    assert report.failed == (code,), report.seen


def test_nobody_there_fails_at_once_and_is_not_asked_further() -> None:
    """Twenty lines that all say the same hide the one thing that matters."""

    async def alone() -> Report:
        bus = MemoryBus()
        link = bus.link(CELL, subscriptions_of_coordinator(CELL))
        probe = Probe(link, "fore", clock_us, MOTIONS)
        return await accept(probe, cell=CELL, by="Ada", at="")

    report = asyncio.run(alone())

    assert [one.code for one in report.seen] == ["ARM01"]
    assert (report.failed, report.simulated) == (("ARM01",), None)


def test_a_line_that_was_not_looked_at_is_not_passed() -> None:
    """CM6: nobody beside the arm, no action to be held in, no torque: it says so."""

    async def bare(party: Any) -> Report:
        bus = MemoryBus()
        link = bus.link(CELL, subscriptions_of_party(CELL, "fore"))
        task = asyncio.create_task(run_node(party, link))
        ours = bus.link(CELL, subscriptions_of_coordinator(CELL))
        probe = Probe(ours, "fore", clock_us)
        try:
            return await accept(
                probe, cell=CELL, by="Ada", at="", codes=("ARM01", "ARM11", "ARM16")
            )
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)

    party = Tampered(honest(), as_it_comes, as_it_goes)
    report = asyncio.run(bare(party))

    assert [one.result for one in report.seen] == ["passed", "not done", "not done"]
    assert not report.is_passed


def test_the_kit_is_no_second_copy_of_the_contract() -> None:
    """One shell obeys for simulated arms and for real drivers."""
    text = (Path(__file__).parents[2] / "sim_arms" / "kit.py").read_text(encoding="utf-8")

    assert "Refused" not in text
    assert "Shell(" in text
