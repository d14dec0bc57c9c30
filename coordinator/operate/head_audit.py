"""Compare a record store with signed heads and with the journals of its runs, and say what differs.

Journals tell what the tools reported, event by event; what they led to is decided again. So of what
was changed in a row it can be said what it was.
"""

import contextlib
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from coordinator.core.effects import WriteRecord
from coordinator.core.plan import Plan
from coordinator.live.hurry import hurried
from coordinator.operate.pinned import load_pinned, speed_of
from coordinator.records.journal import FILE_NAME, Head, Journal, JournalFailed
from coordinator.records.replaying import Replaying
from coordinator.records.rows import RecordFilter, StoredRecord
from coordinator.records.signed_heads import (
    SHOWN,
    HeadFailed,
    SignedHead,
    is_signed_by,
    key_path,
    own_key,
    read_head,
    root_of,
    signed,
)
from coordinator.records.store import RecordStore

HEADS = "head_*.json"
"""Files of heads in the folder of a run."""
_FIELDS = ("bolt", "kind", "round", "attempt", "outcome", "fault", "target_nm")
_RESULTS = ("torque_nm", "pressure_pa", "angle_rad")


def sign_head(store: RecordStore, folder: Path, run: str) -> Path:
    """Sign what store and journal are now, and leave the head in the folder of the run.

    Raises:
        HeadFailed: REC004, there is no key and none can be made, or the head cannot be written.
    """
    digests = store.digests()
    commits, digest = _journal_at(folder / FILE_NAME, None)
    now = datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
    bare = SignedHead(run, len(digests), root_of(digests), commits, digest, now, "")
    head = signed(bare, own_key(key_path()))
    path = folder / f"head_{head.rows:06d}_{head.commits:06d}.json"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path.write_text(head.to_text(), encoding="utf-8")
    except OSError as error:
        raise HeadFailed(f"{path}: {error.strerror}; the head was not kept [REC004]") from None
    return path


def heads_of(place: str, given: Sequence[Path]) -> list[SignedHead]:
    """Return the heads that were given, and those that lie in the folders of runs.

    Raises:
        HeadFailed: REC004, one that was given cannot be read.
    """
    beside = sorted(Path(place).glob(f"*/{HEADS}")) if "://" not in place else []
    return [read_head(path) for path in (*given, *beside)]


def audit(
    store: RecordStore, place: str, heads: Sequence[SignedHead], key: Ed25519PublicKey
) -> list[str]:
    """Return everything in which store and journals are not what the heads say, in words."""
    digests, found = store.digests(), []
    for head in heads:
        what = f"the head of {head.at} ({head.rows} rows, run {head.run})"
        if not is_signed_by(head, key):
            found.append(f"{what} is not signed by this key: forged, altered, or of another key")
        elif len(digests) < head.rows:
            found.append(
                f"{what} counts more rows than the {len(digests)} there are: rows were taken out, "
                "or an older store was put in its place"
            )
        elif root_of(digests[: head.rows]) != head.root:
            found.append(f"{what} was signed over other rows than the first {head.rows} of these")
        if "://" not in place:
            found += _journal_findings(Path(place) / head.run / FILE_NAME, head, what)
    return list(dict.fromkeys(found))


def _journal_findings(path: Path, head: SignedHead, what: str) -> Iterator[str]:
    if not head.commits:
        return
    try:
        commits, digest = _journal_at(path, head.commits)
    except JournalFailed as error:
        yield f"the journal that {what} speaks of cannot be read: {error}"
        return
    if commits < head.commits:
        yield f"{what} counts {head.commits} commits of its journal, there are {commits}"
    elif digest != head.journal:
        yield f"{what} was signed over another journal than {path}"


def _journal_at(path: Path, commits: int | None) -> tuple[int, str]:
    """Return commits and digest of a journal, up to a commit; (0, "") where there is none."""
    if not path.is_file():
        return 0, ""
    with contextlib.closing(Journal.open(path)) as journal:
        digests = journal.digests()
    kept = digests if commits is None else digests[:commits]
    return len(kept), kept[-1] if kept else ""


OTHER_VERSION = ("[JNL004]", "[JNL006]")
"""Of a journal that is whole, and that this version decides otherwise."""


def journal_differences(store: RecordStore, place: str) -> tuple[list[str], list[str]]:
    """Return where the store differs from the journals of its runs, and what was not compared.

    A journal that another version wrote may be decided otherwise now; that is no finding.
    """
    found: list[str] = []
    not_compared: list[str] = []
    for path in sorted(Path(place).glob(f"*/{FILE_NAME}")) if "://" not in place else ():
        try:
            differing = _run_differences(store, path)
        except JournalFailed as error:
            is_other = str(error).endswith(OTHER_VERSION)
            words = f"the journal of a run cannot be {'decided again' if is_other else 'read'}"
            (not_compared if is_other else found).append(f"{words}: {error}")
            continue
        if differing is None:
            not_compared.append(f"{path}: its files do not load; the run was not compared")
        found += differing or []
    return found, not_compared


def _run_differences(store: RecordStore, path: Path) -> list[str] | None:
    """Return what differs in one run, None where its files do not load any more.

    Raises:
        JournalFailed: the journal cannot be read, or is decided otherwise now.
    """
    with contextlib.closing(Journal.open(path)) as journal:
        loaded, head = load_pinned(journal.head), journal.head
        if loaded is None:
            return None
        # A run that went faster than life was decided by a plan with longer waits.
        plan = hurried(loaded.plan, speed_of(head))
        replaying = Replaying(plan, head.first_command)
        for _ in replaying.take_journal(journal):
            pass
    rows = store.list_records(RecordFilter(run=head.run), traces=False)
    has_ended = any(one.run == head.run and one.phase for one in store.runs())
    differing = list(_differences(plan, head, replaying.proofs, rows))
    return _without_tail(differing, has_ended=has_ended)


MISSING = "the store has none"


def _without_tail(found: list[str], *, has_ended: bool) -> list[str]:
    """Leave out what a run that is still under way has not stored yet: the last of its records."""
    while not has_ended and found and found[-1].endswith(MISSING):
        found.pop()
    return found


def _differences(
    plan: Plan,
    head: Head,
    proofs: Sequence[tuple[WriteRecord, int]],
    rows: Sequence[StoredRecord],
) -> Iterator[str]:
    stored = {(row.side, row.command): row for row in rows}
    for effect, _ in proofs:
        told = _told(plan, head, effect)
        if told is None:
            continue
        where = f"run {head.run}, bolt {told['bolt']}, {told['kind']}, round {told['round']}"
        row = stored.pop((plan.parties[effect.party].name, effect.command), None)
        if row is None:
            yield f"{where}: the journal has a record ({told['outcome']}), {MISSING}"
            continue
        for name, value in told.items():
            if getattr(row, name) != value:
                yield f"{where}: {name} is {getattr(row, name)}, was {value} by the journal"
    for row in stored.values():
        where = f"run {head.run}, bolt {row.bolt}, {row.kind}, round {row.round}"
        yield f"{where}: the store has a record ({row.outcome}) that the journal knows nothing of"


def _told(plan: Plan, head: Head, effect: WriteRecord) -> Mapping[str, Any] | None:
    """Return what a row must say by the journal, None if the step proves nothing."""
    record = plan.nodes[effect.node].record
    if record is None:
        return None
    results = dict(effect.results)
    values = (
        *(record.bolt, record.kind, record.round, effect.attempt, effect.outcome, effect.fault),
        float(record.target_nm),
    )
    told = dict(zip(_FIELDS, values, strict=True)) | {name: results.get(name) for name in _RESULTS}
    # Of a run with real parties alone, an arm may still have said that it is simulated.
    return told | ({"simulated": True} if head.simulated else {})


def head_words(path: Path) -> str:
    """Return what is said of a head that was made."""
    head = read_head(path)
    return (
        f"signed head: {path}, {head.rows} rows, key {head.key[:SHOWN]}; keep a copy elsewhere, "
        "with the public key"
    )
