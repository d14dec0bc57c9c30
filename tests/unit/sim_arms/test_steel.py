"""The steel: one writer per fact, loads from advances, scatter from the seed alone."""

import pytest

from sim_arms.steel import Steel
from tests.unit.sim_arms.bench_driver import TARGET_N, steel_config


def test_replicas_that_exchange_changes_agree_on_all_loads() -> None:
    """Two arms must see each other's pull; nothing but facts crosses."""
    fore, aft = Steel(steel_config(), 1), Steel(steel_config(), 1)
    fore.write("bolt.1.advance_m", 4e-4)
    aft.write("bolt.5.advance_m", 5e-4)

    from_fore, from_aft = fore.take_changes(), aft.take_changes()
    aft.apply(from_fore)
    fore.apply(from_aft)

    assert fore.settled() == aft.settled()
    assert fore.load_n(5) > fore.load_n(1) > 0.0
    assert fore.load_n(2) == 0.0


def test_a_fact_written_again_unchanged_is_not_told_again() -> None:
    """The outbox carries news only, and each once."""
    steel = Steel(steel_config(), 1)
    steel.write("cover", True)

    assert steel.take_changes() == {"cover": True}
    steel.write("cover", True)
    assert steel.take_changes() == {}


def test_scatter_follows_from_the_seed_alone() -> None:
    """Replicas are built apart and must draw the same friction without any message."""
    laws = [Steel(steel_config(), seed).law(3) for seed in (7, 7, 8)]

    assert laws[0] == laws[1]
    assert laws[0] != laws[2]


def test_a_joint_that_begins_made_up_carries_its_preload() -> None:
    """Every bolt within three spreads of three percent; the mean near the preload asked for."""
    loads = Steel(steel_config("made_up"), 1).settled().loads_n

    assert all(abs(load / TARGET_N - 1.0) <= 0.0901 for load in loads)
    assert sum(loads) / 8 == pytest.approx(TARGET_N, rel=0.03)


def test_a_joint_begins_open_or_made_up_and_nothing_else() -> None:
    """A wrong word in a set-up must not pass as an open joint."""
    with pytest.raises(ValueError, match="begins 'shut'"):
        Steel(steel_config("shut"), 1)
