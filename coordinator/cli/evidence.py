"""Refuse a run for want of evidence, and write down what a run has become evidence of."""

import time
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from coordinator.cli.output import Exit, Output, counted
from coordinator.commissioning.book import Book
from coordinator.commissioning.promotion import RUN, Asked, Missing, run_body
from coordinator.live.standing import Standings
from coordinator.operate.wishes import LiveResult
from coordinator.wire.codec import to_time

PROGRAM = "bothsides run"
"""Who writes the entry of a run: no person signs for what was measured."""


def refuse_for_evidence(output: Output, stands: Standings, lacking: Sequence[Missing]) -> Exit:
    """Say what is missing and how to get it, line by line."""
    missing = counted(len(lacking), "piece") + " of evidence missing"
    for one in lacking:
        output.errors.print(f"missing: {one.text}", markup=False)
    error = f"not opened ({stands.words()}): {missing}"
    return output.refuse(error, missing=[asdict(one) for one in lacking])


def keep_evidence(
    output: Output, path: Path, asked: Asked, result: LiveResult, *, resumed: bool = False
) -> None:
    """Write a run into the book of its cell; `resumed` if it was broken off on its way."""
    if result.compared:
        tell_compared(output, result)
    body = run_body(
        asked,
        run=result.run,
        phase=result.phase,
        reason=result.reason,
        records=result.records,
        elapsed_us=result.elapsed_us,
        journal=result.journal_digest,
        compared=result.compared,
        resumed=resumed,
    )
    with Book.open(path) as book:
        entry = book.append(to_time(time.time_ns() // 1_000), RUN, PROGRAM, body)
    output.say(f"evidence: {entry.reference} of {path}")
    if resumed and not asked.standings.is_all_simulated:
        output.say("it opens nothing for a party in shadow or real: it was resumed after a break")


def tell_compared(output: Output, result: LiveResult) -> None:
    """Say in what the real parties were otherwise than the simulated ones."""
    found = result.compared
    for name, one in found["parties"].items():
        heard = "heard throughout" if one["heard_throughout"] else "NOT HEARD THROUGHOUT"
        moved = f", MOVED {len(one['moved_untold'])} times untold" if one["moved_untold"] else ""
        told = ", CALLED ITSELF SIMULATED" if one["called_simulated"] else ""
        silent = f"silent for {one['silent_s_max']:g} s at most"
        output.say(f"{name} ({one['standing']}): {heard}, {silent}{moved}{told}")
    output.say(
        f"predicted against seen: {found['differences']} differences, "
        f"{found['commands_compared']} commands compared"
    )
    for one in found["listed"]:
        output.say(
            f"  {one['party']}, {one['what']}: predicted {one['predicted']}, seen {one['seen']}, "
            f"at {one['begin_s']:g} s for {one['for_s']:g} s"
        )
