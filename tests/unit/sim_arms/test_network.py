"""The virtual bus: what it loses, doubles, delays, reorders and cuts."""

from itertools import pairwise

import pytest

from sim_arms.causes import Cause
from sim_arms.network import Cut, Network

MESSAGES = 4000


def arrivals(network: Network, every_us: int = 10_000) -> list[tuple[int, ...]]:
    """Send messages at a steady pace over one link."""
    return [network.carry("coordinator", "fore", index * every_us) for index in range(MESSAGES)]


def test_a_healthy_bus_delivers_each_message_once_in_order_within_its_latency() -> None:
    """The bus as it is on most days."""
    times = arrivals(Network(1), every_us=500)

    assert all(len(arrival) == 1 for arrival in times)
    delays = [arrival - index * 500 for index, (arrival,) in enumerate(times)]
    assert min(delays) >= 1_000
    assert max(delays) <= 4_000
    assert all(first <= second for (first,), (second,) in pairwise(times))


def test_the_same_seed_gives_the_same_arrivals_and_another_seed_others() -> None:
    """N1."""
    causes = [Cause("loss"), Cause("delay"), Cause("reorder"), Cause("duplicate")]

    assert arrivals(Network(1, causes)) == arrivals(Network(1, causes))
    assert arrivals(Network(1, causes)) != arrivals(Network(2, causes))


@pytest.mark.parametrize(("cause", "copies"), [("loss", 0), ("duplicate", 2)])
def test_the_share_that_is_lost_or_doubled_is_the_share_asked_for(cause: str, copies: int) -> None:
    """Within four standard deviations of a binomial draw."""
    share = 0.2
    times = arrivals(Network(3, [Cause(cause, parameters=(("share", share),))]))

    hit = sum(len(arrival) == copies for arrival in times)

    deviation = (MESSAGES * share * (1 - share)) ** 0.5
    assert abs(hit - MESSAGES * share) < 4 * deviation
    assert all(len(arrival) in (1, copies) for arrival in times)


def test_a_late_message_makes_those_behind_it_late_and_reorder_lets_them_pass() -> None:
    """A link of MQTT keeps its order unless the case says otherwise."""
    late = arrivals(Network(4, [Cause("delay")]), every_us=1_000)
    aside = arrivals(Network(4, [Cause("reorder")]), every_us=1_000)

    assert all(first <= second for (first,), (second,) in pairwise(late))
    assert max(arrival - index * 1_000 for index, (arrival,) in enumerate(late)) > 100_000
    assert any(first > second for (first,), (second,) in pairwise(aside))


def test_a_cause_ends_when_its_time_is_over_and_strikes_only_its_party() -> None:
    """After a time everything heals."""
    loss = Cause("loss", side="aft", at_us=1_000, for_us=1_000, parameters=(("share", 1.0),))
    network = Network(5, [loss])

    assert network.carry("coordinator", "aft", 999) != ()
    assert network.carry("coordinator", "aft", 1_000) == ()
    assert network.carry("aft", "coordinator", 1_999) == ()
    assert network.carry("coordinator", "fore", 1_500) != ()
    assert network.carry("coordinator", "aft", 2_000) != ()


def test_a_cut_swallows_what_is_sent_and_what_is_under_way() -> None:
    """A cable that is cut delivers nothing, whenever the message left."""
    network = Network(6, cuts=[Cut("fore", 10_000, 20_000)])

    assert network.carry("coordinator", "fore", 9_500) == ()
    assert network.carry("fore", "coordinator", 15_000) == ()
    assert network.carry("coordinator", "aft", 15_000) != ()
    assert network.carry("coordinator", "fore", 20_000) != ()


def test_a_cut_of_the_hoist_cuts_the_floor_that_plays_it() -> None:
    """Cases name lanes; cables belong to processes."""
    network = Network(7, [Cause("party_cut", side="hoist")])
    network.house({"hoist": "floor", "fore": "fore"})

    assert network.is_cut("floor", 5)
    assert not network.is_cut("fore", 5)


def test_a_cut_that_names_nobody_is_refused() -> None:
    """A case that does nothing must not pass unseen."""
    with pytest.raises(ValueError, match="names no party"):
        Network(1, [Cause("party_cut")])
