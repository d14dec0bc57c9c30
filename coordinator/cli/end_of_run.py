"""Report how a run ended: accepted or not, bolt by bolt, where it is kept, what to do next."""

import shlex
import shutil
import sys
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

from coordinator.cautions import CAUTION
from coordinator.cli.dryrun import clock
from coordinator.cli.output import Exit, Output, counted
from coordinator.operate.head_audit import head_words, sign_head
from coordinator.operate.wishes import LiveResult
from coordinator.records.acceptance import bolt_verdicts, joint_points, wanted_proofs
from coordinator.records.journal import JournalFailed
from coordinator.records.rows import RecordFilter
from coordinator.records.signed_heads import HeadFailed
from coordinator.records.store import RecordStore, store_address
from coordinator.sequence import Loaded


def report_end(
    output: Output,
    loaded: Loaded,
    result: LiveResult,
    *,
    out: Path,
    records: str | None,
    **more: object,
) -> Exit:
    """Report how a run ended and return how the program ends.

    Args:
        output: Where it goes.
        loaded: What was run.
        result: Of the run.
        out: Folder of runs, in which this one has its own.
        records: Database of the records; None for a file in `out`.
        more: Goes into the document.
    """
    store = RecordStore(store_address(out, records))
    rows = store.list_records(RecordFilter(run=result.run))
    head = _signed(store, out / result.run, result.run)
    store.close()
    wanted = wanted_proofs(loaded.plan)
    points = joint_points(rows, wanted, loaded.joint)
    is_complete = result.phase == "complete"
    reason = f": {result.reason}" if result.reason else ""
    output.say(f"ended {result.phase}{reason} after {clock(result.elapsed_us)}")
    if wanted:
        output.say(_verdict(points, is_complete=is_complete))
        bolts = bolt_verdicts(rows, wanted, loaded.joint)
        output.say("bolts: " + ", ".join(f"{bolt} {word}" for bolt, word in bolts.items()))
    for point in points if is_complete else []:
        output.say(f"  open: {point}")
    output.say(f"folder: {out / result.run}, {counted(result.records, 'record')}")
    output.say(head)
    output.say("next:")
    for words in next_commands(result, out, records):
        output.say(f"  {shlex.join((program(), *words))}")
    output.say(CAUTION)
    output.document(
        ok=is_complete and not points,
        ended=result.phase,
        reason=result.reason,
        run=result.run,
        records=result.records,
        elapsed_us=result.elapsed_us,
        open_points=points,
        plan_digest=loaded.plan.digest,
        caps=asdict(loaded.plan.caps),
        **more,
    )
    if not is_complete:
        return Exit.HELD
    return Exit.FINDINGS if points else Exit.GOOD


def _signed(store: RecordStore, folder: Path, run: str) -> str:
    """Sign what the records are now; return what is said of it."""
    try:
        return head_words(sign_head(store, folder, run))
    except (HeadFailed, JournalFailed) as error:
        return f"no head was signed: {error}"


def _verdict(points: list[str], *, is_complete: bool) -> str:
    if not is_complete:
        return "joint: not accepted, the run did not complete"
    if points:
        return f"joint: not accepted, {counted(len(points), 'open point')}"
    return "joint: accepted"


def next_commands(result: LiveResult, out: Path, records: str | None) -> Iterator[tuple[str, ...]]:
    """Yield what a person may do with a run now, each as words after the program's name."""
    folder, kept = out / result.run, ("--out", records or str(out))
    if result.phase == "held":
        stored = ("--records", records) if records else ()
        yield ("resume", result.run, "--out", str(out), *stored)
    if result.records:
        yield ("records", "list", "--run", result.run, *kept)
    if result.records and records is None:
        # Only a folder holds the journal, which tells what had to be proved.
        file = str(folder / "certificate.pdf")
        yield ("records", "certificate", result.run, *kept, "--file", file)
    yield ("timeline", str(folder), "--file", str(folder / "timeline.html"))
    yield ("page", *kept)


def program() -> str:
    """Return how this program is called from the shell it was called from."""
    called = Path(sys.argv[0])
    if called.name != "bothsides":
        return "bothsides"
    found = shutil.which("bothsides")
    is_on_path = found is not None and Path(found).resolve() == called.resolve()
    return "bothsides" if is_on_path else str(called)
