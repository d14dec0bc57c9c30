"""Decide whether a joint is accepted: the last attempt at every bolt, kind and round must be.

A bolt whose load is not supported by turn, torque and slope beside those of the others is an open
point too (`load.py`).

Invariants: RC1, a bolt without a record is not accepted, and neither is one that is not decidable.
"""

from collections.abc import Iterable, Sequence
from typing import Protocol

from coordinator.core.plan import Plan
from coordinator.records.load import Measured, load_points
from coordinator.records.verdict import Verdict
from coordinator.sequence import JointFigures

NOT_SUPPORTED = "not supported"
"""The word of a bolt whose records are good, and whose load they do not support."""


class Judged(Protocol):
    """What acceptance reads of a record."""

    @property
    def bolt(self) -> int: ...
    @property
    def kind(self) -> str: ...
    @property
    def round(self) -> int: ...
    @property
    def verdict(self) -> str: ...


class JudgedAndMeasured(Judged, Measured, Protocol):
    """A record with what its load is judged by."""


def joint_points(
    records: Sequence[JudgedAndMeasured],
    wanted: Sequence[tuple[int, str, int]],
    joint: JointFigures | None,
) -> list[str]:
    """Return, in words, what keeps a joint from being accepted, its loads included.

    Args:
        records: Of one run, in the order in which they were written, with their traces.
        wanted: (bolt, kind, round) that the sequence proves.
        joint: None where the files of the run are not at hand; loads are not judged then.
    """
    loads = () if joint is None else load_points(records, joint)
    return [*open_points(records, wanted), *(point.words for point in loads)]


def open_points(records: Iterable[Judged], wanted: Sequence[tuple[int, str, int]]) -> list[str]:
    """Return, in words, which records keep a joint from being accepted; empty when none does.

    Args:
        records: Of one run, in the order in which they were written.
        wanted: (bolt, kind, round) that the sequence proves.
    """
    last = {(one.bolt, one.kind, one.round): one.verdict for one in records}
    points = []
    for bolt, kind, round_number in wanted:
        verdict = last.get((bolt, kind, round_number))
        if verdict != Verdict.ACCEPTED.value:
            where = f"bolt {bolt}, {kind}" + (f", round {round_number}" if round_number else "")
            points.append(f"{where}: {verdict or 'no record'}")
    return points


def bolt_verdicts(
    records: Sequence[JudgedAndMeasured],
    wanted: Sequence[tuple[int, str, int]],
    joint: JointFigures | None,
) -> dict[int, str]:
    """Return a word for each bolt, in their order.

    It is `accepted`, `not accepted`, `not supported` or `no record`.
    """
    unsupported = () if joint is None else load_points(records, joint)
    doubtful = {point.bolt for point in unsupported}
    found = {}
    for bolt in sorted({point[0] for point in wanted} | {one.bolt for one in records}):
        mine = [one for one in records if one.bolt == bolt]
        points = open_points(mine, [point for point in wanted if point[0] == bolt])
        good = NOT_SUPPORTED if bolt in doubtful else "accepted"
        word = "not accepted" if points else good
        found[bolt] = word if mine else "no record"
    return found


def wanted_proofs(plan: Plan) -> list[tuple[int, str, int]]:
    """Return every (bolt, kind, round) that a sequence proves."""
    wanted = [
        (node.record.bolt, node.record.kind, node.record.round)
        for node in plan.nodes
        if node.record is not None
    ]
    return list(dict.fromkeys(wanted))
