"""The virtual world: order, determinism, troubles of the bus, restarts."""

import pytest

from coordinator.wire.messages import (
    Interrupted,
    Message,
    PartyState,
    Refused,
    SimulatedFacts,
)
from sim_arms.causes import Cause
from sim_arms.network import Network
from sim_arms.trace import TraceWriter
from sim_arms.world import World, WorldStuckError
from tests.support.parties import SECOND_US
from tests.support.virtual import small_world

TROUBLES = (
    Cause("loss", for_us=20 * SECOND_US, parameters=(("share", 0.2),)),
    Cause("duplicate", for_us=20 * SECOND_US, parameters=(("share", 0.3),)),
    Cause("delay", for_us=20 * SECOND_US, parameters=(("share", 0.1),)),
    Cause("reorder", for_us=20 * SECOND_US, parameters=(("share", 0.2),)),
)


def trace_of(seed: int) -> str:
    """Run a troubled cell and return its trace."""
    lines: list[str] = []
    world, coordinator, _ = small_world(seed, TROUBLES, traced=TraceWriter(lines.append))
    world.run(coordinator.is_done, 120 * SECOND_US)
    return "".join(lines)


def test_every_move_is_done_once_and_the_run_ends_by_itself() -> None:
    """The plain case."""
    world, coordinator, benches = small_world(1)

    end_us = world.run(coordinator.is_done, 60 * SECOND_US)

    assert coordinator.is_done()
    assert 5 * SECOND_US < end_us < 6 * SECOND_US
    assert [bench.moved for bench in benches.values()] == [5, 5]


@pytest.mark.parametrize("seed", range(20))
def test_on_a_bad_bus_no_move_is_done_twice_and_all_are_done_once_it_heals(seed: int) -> None:
    """A4 against loss, doubles, delay and overtaking, with a coordinator that asks and repeats."""
    world, coordinator, benches = small_world(seed, TROUBLES)

    world.run(coordinator.is_done, 300 * SECOND_US)

    for name, bench in benches.items():
        reports = [
            message.body.command
            for _, message in coordinator.heard
            if message.source == name and isinstance(message.body, Interrupted)
        ]
        # A move that a lapse broke off stays broken off; everything else ran exactly once.
        assert coordinator.left[name] == 0 or reports
        assert bench.moved <= 5


def test_the_same_seed_gives_the_same_bytes() -> None:
    """N2."""
    assert trace_of(7) == trace_of(7)
    assert trace_of(7) != trace_of(8)


def test_a_cut_party_holds_by_its_lease_and_the_coordinator_hears_of_it() -> None:
    """L2 over the bus; the broker tells what the party cannot."""
    cut = Cause("party_cut", side="aft", at_us=2 * SECOND_US, for_us=5 * SECOND_US)
    world, coordinator, _ = small_world(1, [cut], action="long", moves=1)

    world.run(lambda: False, 9 * SECOND_US)

    states = [
        (at_us, message.body.online)
        for at_us, message in coordinator.heard
        if message.source == "aft" and isinstance(message.body, PartyState)
    ]
    lost_us = next(at_us for at_us, online in states if not online)
    back_us = next(at_us for at_us, online in states if online and at_us > lost_us)
    assert 3_500_000 < lost_us < 3_510_000
    assert 7 * SECOND_US < back_us < 7_010_000
    assert any(
        message.source == "aft" and isinstance(message.body, Interrupted)
        for _, message in coordinator.heard
    )
    assert not any(
        message.source == "aft"
        for at_us, message in coordinator.heard
        if 2_005_000 < at_us < lost_us
    )


def test_a_restarted_party_keeps_its_ledger_and_says_that_its_move_was_interrupted() -> None:
    """A4 over a crash: the move that ran is not done again by anybody's repeat."""
    restart = Cause("party_restarts", side="fore", at_us=2 * SECOND_US)
    reached: list[tuple[int, str]] = []
    world, coordinator, benches = small_world(
        1,
        [restart],
        action="long",
        moves=1,
        traced=lambda at_us, to, message: reached.append((at_us, to)),
    )

    world.run(lambda: False, 10 * SECOND_US)

    assert benches["fore"].moved == 1
    assert not [at_us for at_us, to in reached if to == "fore" and 2_000_000 < at_us < 4_000_000]
    assert [at_us for at_us, to in reached if to == "aft" and 2_000_000 < at_us < 4_000_000]
    bodies = [message.body for _, message in coordinator.heard if message.source == "fore"]
    assert Interrupted(1, {"process_died": True}) in bodies
    boots = {body.boot for body in bodies if isinstance(body, PartyState) and body.online}
    assert boots == {1, 2}


def test_a_party_that_was_down_hears_nothing_and_asks_for_the_steel_when_it_is_back() -> None:
    """F3: what the other arm did meanwhile is not lost on it."""
    restart = Cause("party_restarts", side="fore", at_us=1_500_000, for_us=None)
    told: list[tuple[int, SimulatedFacts]] = []

    def note(at_us: int, to: str, message: Message) -> None:
        if to == "fore" and isinstance(message.body, SimulatedFacts):
            told.append((at_us, message.body))

    world, _, benches = small_world(1, [restart], moves=2, traced=note)
    world.run(lambda: False, 5 * SECOND_US)

    assert not [at_us for at_us, _ in told if 1_500_000 < at_us < 3_500_000]
    assert (3_500_000, SimulatedFacts({"aft.moved": 2, "fore.moved": 1})) in told
    assert benches["fore"].applied == {"aft.moved": 2, "fore.moved": 1}


def test_facts_reach_the_other_arm_at_the_same_instant_and_never_the_coordinator() -> None:
    """Steel does not travel over the bus, however bad the bus is."""
    deliveries: list[tuple[int, str, Message]] = []
    world, coordinator, benches = small_world(
        1,
        TROUBLES,
        moves=1,
        traced=lambda at_us, to, message: deliveries.append((at_us, to, message)),
    )
    world.run(coordinator.is_done, 60 * SECOND_US)

    facts = [d for d in deliveries if isinstance(d[2].body, SimulatedFacts)]
    assert benches["aft"].applied == {"fore.moved": 1}
    assert all(at_us == message.sent_us for at_us, _, message in facts)
    assert all(to in ("fore", "aft") for _, to, _ in facts)


def test_nothing_happens_after_the_time_given() -> None:
    """A run has a bound, and says where it stopped."""
    world, _, _ = small_world(1)

    assert world.run(lambda: False, 3 * SECOND_US) == 3 * SECOND_US
    assert world.run(lambda: False, 4 * SECOND_US) == 4 * SECOND_US


def test_a_party_that_never_lets_time_pass_is_found_out() -> None:
    """N3: an endless run at one instant is a fault of ours, and says so."""

    class Restless:
        name = "coordinator"

        def receive(self, message: Message, now_us: int, retained: bool = False) -> list[Message]:
            return []

        def advance(self, now_us: int) -> list[Message]:
            return []

        def next_us(self) -> int | None:
            return 5

    world = World([], Restless(), Network(1))

    with pytest.raises(WorldStuckError, match="coordinator"):
        world.run(lambda: False, SECOND_US)


def test_a_restart_of_nobody_is_refused() -> None:
    """A case that does nothing must not pass unseen."""
    with pytest.raises(ValueError, match="no party 'port'"):
        small_world(1, [Cause("party_restarts", side="port")])


def test_a_false_will_says_that_a_party_is_gone_while_it_works_on() -> None:
    """A broker may be wrong about who lives; the party's next word says so."""
    error = Cause("false_will", side="aft", at_us=2 * SECOND_US, for_us=1_500_000)
    world, coordinator, benches = small_world(1, [error], action="long", moves=1)

    world.run(lambda: False, 9 * SECOND_US)

    states = [
        (at_us, message.body.online, message.body.boot)
        for at_us, message in coordinator.heard
        if message.source == "aft" and isinstance(message.body, PartyState)
    ]
    gone_us = [at_us for at_us, online, _ in states if not online]
    assert [at_us // 100_000 for at_us in gone_us] == [20, 30]
    assert any(online and boot == 1 for at_us, online, boot in states if at_us > gone_us[-1])
    assert benches["aft"].moved == 1
    assert not any(isinstance(message.body, Interrupted) for _, message in coordinator.heard)


def test_what_comes_out_of_the_brokers_memory_is_refused_and_moves_nothing() -> None:
    """A lease or a command from before must not come to life again (WR9)."""
    error = Cause("stale_retained", side="fore", at_us=4 * SECOND_US, for_us=3 * SECOND_US)
    reached: list[int] = []
    world, coordinator, benches = small_world(
        1, [error], moves=2, traced=lambda at_us, to, message: reached.append(at_us)
    )

    world.run(lambda: False, 9 * SECOND_US)

    reasons = [m.body.reason for _, m in coordinator.heard if isinstance(m.body, Refused)]
    assert reasons.count("retained") == 3
    assert benches["fore"].moved == 2
    assert world.delivered == len(reached)


def test_a_clock_that_is_set_shows_in_what_its_party_says_until_it_is_set_back() -> None:
    """A party knows no other time than that of its own clock."""
    step = Cause(
        "clock_step",
        side="aft",
        at_us=2 * SECOND_US,
        for_us=3 * SECOND_US,
        parameters=(("step", 0.3),),
    )
    world, coordinator, _ = small_world(1, [step], moves=5)

    world.run(lambda: False, 9 * SECOND_US)

    late = {
        (at_us - message.sent_us > 0, message.sent_us - at_us > 290_000, message.source)
        for at_us, message in coordinator.heard
        if 2 * SECOND_US + 5_000 < at_us < 5 * SECOND_US
    }
    assert late == {(True, False, "fore"), (False, True, "aft")}
    assert all(
        0 < at_us - message.sent_us < 5_000
        for at_us, message in coordinator.heard
        if at_us > 5 * SECOND_US + 5_000
    )


@pytest.mark.parametrize("cause", ["false_will", "stale_retained", "clock_step"])
def test_an_error_about_nobody_is_refused(cause: str) -> None:
    """A case that does nothing must not pass unseen."""
    with pytest.raises(ValueError, match="no party 'port'"):
        small_world(1, [Cause(cause, side="port")])
