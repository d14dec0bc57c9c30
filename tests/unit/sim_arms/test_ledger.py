"""The ledger: what survives a restart, in memory and on disk."""

from pathlib import Path

import pytest

from coordinator.wire.messages import (
    Accepted,
    Armed,
    Body,
    Faulted,
    Finished,
    Interrupted,
    Message,
    Progressed,
    Refused,
    Started,
)
from sim_arms.ledger import KEPT, FileStore, Ledger, LedgerStore, MemoryStore, Metal


@pytest.fixture(params=["memory", "file"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> LedgerStore:
    """Each kind of store must keep the same promises."""
    return MemoryStore() if request.param == "memory" else FileStore(tmp_path / "ledger")


def message(body: Body, epoch: int = 1) -> Message:
    """A report of the party."""
    return Message("fore", "fore", 1, epoch, 5, body)


def test_outcomes_survive_and_what_ran_reads_as_interrupted(store: LedgerStore) -> None:
    """A4: nobody can tell how far a command came that ran when the process died."""
    ledger = Ledger(store)
    for body in (
        Accepted(1),
        Finished(1, {"turns": 3.5}),
        Faulted(2, "leak"),
        Accepted(3),
        Started(4, 9),
        Armed(5),
    ):
        ledger.record(message(body, epoch=7))

    born = Ledger(store)

    assert [born.report_of(command) for command in range(1, 6)] == [
        Finished(1, {"turns": 3.5}),
        Faulted(2, "leak"),
        Interrupted(3, {"process_died": True}),
        Interrupted(4, {"process_died": True}),
        Refused(5, "never_begun"),
    ]
    assert (born.last_obeyed, born.epoch) == (5, 7)
    assert (born.last_ended, born.last_outcome) == (4, "interrupted")


def test_the_interruption_found_at_a_restart_is_kept_itself(store: LedgerStore) -> None:
    """A second restart tells the same story."""
    Ledger(store).record(message(Accepted(3)))
    Ledger(store)

    assert [kept.body for kept in store.load()] == [Interrupted(3, {"process_died": True})]


def test_only_the_last_thousand_are_kept(store: LedgerStore) -> None:
    """A limit on everything; old numbers are refused as outdated all the same."""
    ledger = Ledger(store)
    for command in range(1, KEPT + 3):
        store.write(command, message(Finished(command)))
        ledger = ledger if command < KEPT + 2 else Ledger(store)

    assert ledger.report_of(2) is None
    assert ledger.report_of(3) == Finished(3)
    assert len(store.load()) == KEPT
    assert ledger.last_obeyed == KEPT + 2


def test_a_used_up_number_leaves_no_report() -> None:
    """A late copy of its command must not arm again; of the command itself nothing is known."""
    ledger = Ledger(MemoryStore())

    ledger.use_up(4)

    assert ledger.report_of(4) is None
    assert ledger.last_obeyed == 4


def test_that_a_command_was_never_begun_is_kept(store: LedgerStore) -> None:
    """Known is not unknown: after a restart too nobody asks a person about it."""
    Ledger(store).record(message(Refused(4, "never_begun")))

    assert Ledger(store).report_of(4) == Refused(4, "never_begun")


def test_other_refusals_are_not_kept() -> None:
    """They are no outcome: the same command may be sent again."""
    with pytest.raises(TypeError, match="Refused"):
        Ledger(MemoryStore()).record(message(Refused(4, "no_lease")))


def test_what_is_no_outcome_is_not_kept() -> None:
    """A wrong use of ours is told at once."""
    with pytest.raises(TypeError, match="Progressed"):
        Ledger(MemoryStore()).record(message(Progressed(1)))


def test_metal_stands_after_a_restart_as_it_was_left(store: LedgerStore) -> None:
    """A process that dies takes no bolt out of its hole."""
    assert store.load_metal() is None

    store.keep_metal(Metal({"bolt.1.turns": 2.5}, {"tool": "wrench", "seated_on": 1}))

    assert store.load_metal() == Metal({"bolt.1.turns": 2.5}, {"tool": "wrench", "seated_on": 1})


def test_each_start_on_a_ledger_has_a_number_of_its_own(tmp_path: Path) -> None:
    """The coordinator knows a party that has started anew by it."""
    boots = []
    for _ in range(3):
        store = FileStore(tmp_path / "ledger")
        boots.append(store.count_boot())
        store.close()

    assert boots == [1, 2, 3]
