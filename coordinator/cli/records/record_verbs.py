"""The verb `records`: list, show, verify and certify what was proved about each bolt."""

import contextlib
import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path

import typer
from rich.table import Table

from coordinator.cli.output import Exit, Output, counted
from coordinator.records.journal import FILE_NAME, Journal, JournalFailed
from coordinator.records.rows import RecordFilter, StoredRecord
from coordinator.records.store import RecordsFailed, RecordStore

TRACE_ROWS_MAX = 24
ENDINGS = (".pdf", ".html")


@contextlib.contextmanager
def records_of(output: Output, place: str) -> Iterator[RecordStore]:
    """Open the records of a folder or a database; leave with what is wrong with them."""
    address = place
    if "://" not in place:
        path = Path(place) / "records.sqlite"
        if not path.is_file():
            text = f"{path}: no records here; run a sequence first or name a folder with --out"
            raise typer.Exit(output.refuse(text))
        address = f"sqlite:///{path}"
    try:
        with contextlib.closing(RecordStore(address)) as store:
            yield store
    except RecordsFailed as error:
        raise typer.Exit(output.refuse(str(error))) from None


def list_records(output: Output, place: str, wanted: RecordFilter) -> Exit:
    """Print one line per record."""
    with records_of(output, place) as store:
        found = store.list_records(wanted, traces=False)
    for run in dict.fromkeys(one.run for one in found):
        rows = [one for one in found if one.run == run]
        output.say(f"run {run}: {rows[0].sequence} on {rows[0].joint}")
        output.people.print(_table(rows))
    output.say(counted(len(found), "record"))
    output.document(ok=True, records=[_without_trace(one) for one in found])
    return Exit.GOOD


def _table(found: Sequence[StoredRecord]) -> Table:
    table = Table(
        "no", "side", "bolt", "kind", "round", "try", "target N·m", "torque N·m",
        "angle °", "verdict", "why", "", box=None, pad_edge=False,
    )  # fmt: skip
    for one in found:
        table.add_row(*_cells(one))
    return table


def show_record(output: Output, place: str, number: int) -> Exit:
    """Print one record with its trace."""
    with records_of(output, place) as store:
        one = store.show(number)
    for name, value in _without_trace(one).items():
        output.say(f"{name:12} {value}")
    output.people.print(_trace_table(one))
    output.document(ok=True, record=asdict(one))
    return Exit.GOOD


def verify_records(output: Output, place: str, heads: Sequence[Path], key: Path | None) -> Exit:
    """Verify the chain, the signed heads, and what journals of its runs tell; print its head."""
    # Imported here: listing records needs no key.
    from coordinator.operate.head_audit import audit, heads_of, journal_differences
    from coordinator.records.signed_heads import HeadFailed, fingerprint, key_path, public_key

    try:
        known = heads_of(place, heads)
        named = key or key_path().with_suffix(".pub")
        public = public_key(named) if known or key else None
    except HeadFailed as error:
        return output.refuse(str(error))
    with records_of(output, place) as store:
        wrong = store.verify() or _missing_run(store, place)
        found = [] if wrong is None else [wrong]
        found += [] if public is None else audit(store, place, known, public)
        differing, not_compared = journal_differences(store, place)
        found += differing
        seq, digest = store.head()
    for one in (*found, *not_compared):
        output.say(one)
    if not found:
        output.say(f"{counted(seq, 'row')}, the chain is whole; head {digest}")
    by = f"key {fingerprint(public)[:16]} ({named})" if public else ""
    kept = f"{counted(len(known), 'signed head')} compared, {by}" if known else NO_HEADS
    output.say(kept if heads else f"{kept}; {ELSEWHERE}")
    output.document(
        ok=not found,
        rows=seq,
        head=digest,
        finding=found[0] if found else None,
        findings=found,
        not_compared=not_compared,
        signed_heads=len(known),
    )
    return Exit.FINDINGS if found else Exit.GOOD


NO_HEADS = "no signed head was compared"
ELSEWHERE = (
    "whoever can write here can also take heads away: give one that was kept elsewhere with "
    "--head, and its public key with --key"
)


def _missing_run(store: RecordStore, place: str) -> str | None:
    """Return which run has left a journal beside the store and nothing in it, None for none."""
    known = {one.run for one in store.runs()}
    for path in sorted(Path(place).glob(f"*/{FILE_NAME}")) if "://" not in place else ():
        try:
            with contextlib.closing(Journal.open(path)) as journal:
                run = journal.head.run
        except JournalFailed as error:
            return f"the journal of a run cannot be read: {error}"
        # An emptied store has a whole chain of nothing.
        if run not in known:
            return f"run {run} has a journal in {path.parent}, and no row of it is in the store"
    return None


def write_certificate(output: Output, place: str, run: str, target: Path) -> Exit:
    """Write the certificate of a run into a file; its ending says the form."""
    if target.suffix not in ENDINGS:
        return output.refuse(f"{target}: ending must be one of {', '.join(ENDINGS)}; rename it")
    # Imported here: listing records needs no certificate.
    from coordinator.operate.run_certificate import certificate_for, rendered

    with records_of(output, place) as store:
        made = certificate_for(store, place, run)
    try:
        target.write_bytes(rendered(made, target.suffix))
    except OSError as error:
        return output.refuse(f"{target}: {error.strerror}; name another file")
    output.say(f"{target}: {made.title}: {made.verdict}")
    output.document(ok=made.verdict == "accepted", file=str(target), verdict=made.verdict)
    return Exit.GOOD if made.verdict == "accepted" else Exit.FINDINGS


def _cells(one: StoredRecord) -> list[str]:
    torque = "" if one.torque_nm is None else f"{one.torque_nm:.0f}"
    angle = "" if one.angle_rad is None else f"{math.degrees(one.angle_rad):.1f}"
    why = ", ".join(word for word in (*one.reasons, one.fault) if word)
    return [
        str(one.seq), one.side, str(one.bolt), one.kind, str(one.round or ""),
        str(one.attempt), f"{one.target_nm:.0f}" if one.target_nm else "", torque, angle,
        one.verdict, why, "simulated" if one.simulated else "",
    ]  # fmt: skip


def _without_trace(one: StoredRecord) -> dict[str, object]:
    return {name: value for name, value in asdict(one).items() if not name.startswith("trace_")}


def _trace_table(one: StoredRecord) -> Table:
    table = Table("time s", "torque N·m", "pressure MPa", "angle °", box=None, pad_edge=False)
    count = len(one.trace_time_s)
    stride = max(1, math.ceil(count / TRACE_ROWS_MAX))
    for index in [*range(0, count, stride)][:-1] + ([count - 1] if count else []):
        table.add_row(
            f"{one.trace_time_s[index]:.1f}",
            _at(one.trace_torque_nm, index, 1.0, ".0f"),
            _at(one.trace_pressure_pa, index, 1e-6, ".1f"),
            _at(one.trace_angle_rad, index, math.degrees(1.0), ".1f"),
        )
    return table


def _at(column: tuple[float, ...], index: int, factor: float, form: str) -> str:
    return format(column[index] * factor, form) if index < len(column) else ""
