"""Gather what a run has left behind, and render it as a certificate."""

import contextlib
from pathlib import Path

from coordinator.certificate.content import Certificate, Source, certificate_of
from coordinator.core.events import OperatorActed, OverrideSet, PromptAnswered
from coordinator.live.standing import standings_words
from coordinator.operate.pinned import load_pinned
from coordinator.records.acceptance import wanted_proofs
from coordinator.records.journal import FILE_NAME, Head, Journal, JournalFailed
from coordinator.records.rows import RecordFilter
from coordinator.records.store import RecordsFailed, RecordStore


def rendered(made: Certificate, ending: str) -> bytes:
    """Return a certificate in the form that an ending says."""
    if ending == ".html":
        from coordinator.certificate.html import to_html

        return to_html(made).encode()
    from coordinator.certificate.pdf import to_pdf

    return to_pdf(made)


def certificate_for(store: RecordStore, place: str, run: str) -> Certificate:
    """Return the certificate of a run, with its journal's files and people if they are there.

    Raises:
        RecordsFailed: REC002, there is no such run.
    """
    runs = {one.run: one for one in store.runs()}
    if run not in runs:
        known = ", ".join(list(runs)[-5:]) or "none"
        raise RecordsFailed(f"run is '{run}', must be one of the runs, last {known} [REC002]")
    head: Head | None = None
    people: tuple[str, ...] = ()
    overrides: tuple[OverrideSet, ...] = ()
    if "://" not in place:
        head, people, overrides = _read_journal(Path(place) / run / FILE_NAME)
    loaded = None if head is None else load_pinned(head)
    if loaded is not None:
        asked = (
            f"{one.who} asked to set {loaded.plan.interlocks[one.interlock].name} aside: {one.why}"
            for one in overrides
        )
        people = (*people, *dict.fromkeys(asked))
    return certificate_of(
        Source(
            runs[run],
            store.list_records(RecordFilter(run=run)),
            store.head(),
            () if loaded is None else tuple(wanted_proofs(loaded.plan)),
            None if loaded is None else loaded.joint,
            () if head is None else head.files,
            people,
            store.judgements(run),
            store.verify(),
            "" if head is None else standings_words(head.standings),
        )
    )


def _read_journal(
    path: Path,
) -> tuple[Head | None, tuple[str, ...], tuple[OverrideSet, ...]]:
    """Return what a run is, who has acted or answered, and what was asked to be set aside."""
    try:
        with contextlib.closing(Journal.open(path)) as journal:
            events = list(journal.read_events())
            head = journal.head
    except JournalFailed:
        return None, (), ()
    named = [one.who for one in events if isinstance(one, OperatorActed | PromptAnswered)]
    overrides = tuple(one for one in events if isinstance(one, OverrideSet))
    return head, tuple(dict.fromkeys(named)), overrides
