"""Numbers that a source gives to what it says about one subject, and what is missing of them."""

from random import Random

from coordinator.wire.messages import Ask, Body, Lease, Message, PartyState, SimulatedFacts
from coordinator.wire.ordinals import AWAITED_MAX, SUBJECTS_MAX, Gaps, Ordinals

STATE = PartyState(True)


def said(ordinal: int | None, sent_us: int, source: str = "aft", subject: str = "aft") -> Message:
    return Message(source, subject, 1, 1, sent_us, STATE, ordinal=ordinal)


def test_each_subject_is_numbered_by_itself() -> None:
    """An arm hears nothing of what is said to the other: it must not look like a loss."""
    ordinals = Ordinals()
    about: list[tuple[str, Body]] = [
        ("fore", Ask(1)),
        ("aft", Ask(2)),
        ("all", Lease(9)),
        ("fore", Ask(3)),
    ]

    assert [ordinals.next(subject, body) for subject, body in about] == [1, 1, 1, 2]


def test_wills_and_simulated_facts_are_not_counted() -> None:
    """A will is written before its time, and facts about steel do not reach the coordinator."""
    ordinals = Ordinals()
    bodies: list[Body] = [STATE, PartyState(False), SimulatedFacts({}), STATE]

    assert [ordinals.next("aft", body) for body in bodies] == [1, None, None, 2]


def test_what_was_lost_is_counted_whatever_was_lost() -> None:
    """The sum of all gaps is what a set of numbers says is missing between first and last."""
    dice = Random(7)
    for _ in range(200):
        kept = [n for n in range(1, 60) if dice.random() < 0.7]
        gaps = Gaps()
        found = sum(gaps.take(said(n, n)) for n in kept)

        assert found == kept[-1] - kept[0] + 1 - len(kept)
        assert gaps.missed.get("aft", 0) == found


def test_copies_latecomers_and_unnumbered_ones_are_no_gap() -> None:
    """WR6, WR7: MQTT may deliver twice, a broker may let one overtake another."""
    gaps = Gaps()

    order = [(1, 10), (2, 20), (2, 20), (None, 25), (4, 40), (3, 30), (4, 40), (5, 50)]

    assert [gaps.take(said(n, at_us)) for n, at_us in order] == [0, 0, 0, 0, 1, 0, 0, 0]


def test_a_source_that_starts_anew_is_no_gap_but_what_is_lost_of_its_start_is() -> None:
    """Its numbers begin again; its first words may be lost like any other."""
    gaps = Gaps()

    assert [gaps.take(said(n, at_us)) for n, at_us in ((57, 10), (1, 20), (2, 30))] == [0, 0, 0]
    assert gaps.take(said(2, 99)) == 1
    assert gaps.take(said(3, 100)) == 0


def test_two_sources_and_two_subjects_do_not_mix() -> None:
    """The lease and the commands come from one source in two series."""
    gaps = Gaps()
    series = [("coordinator", "all", 8), ("coordinator", "aft", 3), ("floor", "floor", 100)]
    for source, subject, ordinal in series:
        assert gaps.take(said(ordinal, 1, source, subject)) == 0
    assert gaps.take(said(10, 2, "coordinator", "all")) == 1
    assert gaps.take(said(4, 3, "coordinator", "aft")) == 0
    assert dict(gaps.missed) == {"coordinator": 1}


def test_made_up_names_fill_no_memory() -> None:
    """Beyond any cell's parties nobody new is counted; who is known goes on being counted."""
    gaps = Gaps()
    for number in range(10 * SUBJECTS_MAX):
        gaps.take(said(1, 1, f"party {number}"))

    assert gaps.take(said(3, 2, "party 0")) == 1
    assert gaps.take(said(3, 2, f"party {SUBJECTS_MAX}")) == 0


def test_what_is_overtaken_on_another_topic_is_waited_for() -> None:
    """OASIS MQTT 5.0, 4.6: only within a topic is order kept; found by a run with nothing wrong."""
    gaps = Gaps(patience_us=100)
    order = [(1, 10), (3, 30), (2, 20), (6, 60), (5, 50), (7, 159), (8, 160), (4, 40), (9, 400)]

    assert [gaps.take(said(n, at_us)) for n, at_us in order] == [0, 0, 0, 0, 0, 0, 1, 0, 0]
    assert dict(gaps.missed) == {"aft": 1}


def test_patient_or_not_all_that_is_lost_is_counted_in_the_end() -> None:
    """Patience puts off; it forgives nothing, not even a flood, nor a source that starts anew."""
    dice = Random(8)
    for _ in range(100):
        kept = sorted(dice.sample(range(1, 4 * AWAITED_MAX), dice.randrange(2, 40)))
        gaps = Gaps(patience_us=50)
        found = sum(gaps.take(said(n, 10 * n)) for n in kept)
        found += gaps.take(said(1, 10_000_000))

        assert found == kept[-1] - kept[0] + 1 - len(kept)
