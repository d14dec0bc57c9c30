"""Decide whether a joint is accepted: the last attempt at every bolt, kind and round must be.

Invariants: RC1, a bolt without a record is not accepted, and neither is one that is not decidable.
"""

from collections.abc import Iterable, Sequence
from typing import Protocol

from coordinator.core.plan import Plan
from coordinator.records.verdict import Verdict


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


def open_points(records: Iterable[Judged], wanted: Sequence[tuple[int, str, int]]) -> list[str]:
    """Return, in words, what keeps a joint from being accepted; empty when nothing does.

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
    records: Sequence[Judged], wanted: Sequence[tuple[int, str, int]]
) -> dict[int, str]:
    """Return for each bolt `accepted`, `not accepted` or `no record`, in their order."""
    found = {}
    for bolt in sorted({point[0] for point in wanted} | {one.bolt for one in records}):
        mine = [one for one in records if one.bolt == bolt]
        points = open_points(mine, [point for point in wanted if point[0] == bolt])
        word = "not accepted" if points else "accepted"
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
