"""A measured clock against simulated networks whose ways are slow, unlike and jittery."""

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from coordinator.commissioning.party_clock import Exchange, Offset, best_offset, offset_of

WAY_US = st.integers(0, 400_000)
OFFSETS_US = st.integers(-400_000_000, 400_000_000)


def exchanged(asked_us: int, ways: tuple[int, int, int], offset_us: int) -> Exchange:
    """Let a request travel, be worked on and answered, by a clock that is off."""
    there_us, work_us, back_us = ways
    arrived_us = asked_us + there_us
    answered_us = arrived_us + work_us
    return Exchange(
        asked_us, arrived_us + offset_us, answered_us + offset_us, answered_us + back_us
    )


@given(OFFSETS_US, st.lists(st.tuples(WAY_US, WAY_US, WAY_US), min_size=1, max_size=12))
def test_the_true_offset_lies_within_the_uncertainty(
    offset_us: int, ways: list[tuple[int, int, int]]
) -> None:
    """CM22: however unlike the ways are; and the best is as sure as the surest exchange."""
    exchanges = [exchanged(i * 1_000_000, one, offset_us) for i, one in enumerate(ways)]

    best = best_offset(exchanges)

    assert abs(best.offset_us - offset_us) <= best.uncertainty_us
    assert best.uncertainty_us <= min(there + back for there, _, back in ways) // 2 + 1
    assert best.least_us <= abs(offset_us) <= best.most_us


@given(OFFSETS_US, WAY_US, WAY_US, WAY_US, st.integers(0, 400_000))
def test_an_answer_stamped_once_is_less_sure_and_not_wrong(
    offset_us: int, there_us: int, work_us: int, back_us: int, stamped_us: int
) -> None:
    """CM22: a party that stamps only its answer, at any moment between arrival and sending."""
    full = exchanged(0, (there_us, work_us, back_us), offset_us)
    once_us = full.arrived_us + min(stamped_us, work_us)

    found = offset_of(Exchange(full.asked_us, once_us, once_us, full.heard_us))

    assert abs(found.offset_us - offset_us) <= found.uncertainty_us
    assert found.uncertainty_us >= offset_of(full).uncertainty_us


@given(*[st.integers(-(10**12), 10**12)] * 4)
def test_offset_and_round_trip_are_those_of_the_formulas(
    first: int, second: int, third: int, fourth: int
) -> None:
    """RFC 5905, section 8, in exact fractions: theta and delta, rounded to a microsecond."""
    theta = Fraction((second - first) + (third - fourth), 2)
    delta = (fourth - first) - (third - second)

    found = offset_of(Exchange(first, second, third, fourth))

    assert 0 <= theta - found.offset_us < 1
    assert 0 <= found.uncertainty_us - Fraction(delta, 2) < 1


def test_an_exchange_with_unlike_ways_is_worked_out_by_hand() -> None:
    """250 ms ahead, 30 ms there and 10 ms back: 10 ms wrong, 20 ms unsure."""
    found = offset_of(exchanged(0, (30_000, 5_000, 10_000), 250_000))

    assert found == Offset(260_000, 20_000)
