"""What keeps a joint from being accepted."""

from dataclasses import dataclass

from coordinator.records.acceptance import open_points
from coordinator.records.verdict import Verdict

WANTED = [(1, "pull", 2), (5, "pull", 2), (1, "check", 0)]


@dataclass(frozen=True)
class Judged:
    """A record as far as acceptance reads it."""

    bolt: int
    kind: str
    round: int
    verdict: str = Verdict.ACCEPTED.value


def test_a_bolt_without_a_record_or_with_an_open_one_is_not_accepted() -> None:
    """RC1: no data is never read as good data; the last record of a bolt counts."""
    undecided = Judged(5, "pull", 2, Verdict.NOT_DECIDABLE.value)
    earlier = Judged(1, "pull", 2, Verdict.REJECTED.value)

    assert open_points([earlier, Judged(1, "pull", 2), undecided], WANTED) == [
        f"bolt 5, pull, round 2: {Verdict.NOT_DECIDABLE.value}",
        "bolt 1, check: no record",
    ]


def test_a_joint_with_every_wanted_record_accepted_has_nothing_open() -> None:
    """Else no joint would ever be handed over."""
    assert open_points([Judged(*one) for one in WANTED], WANTED) == []
