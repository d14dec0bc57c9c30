"""Every party keeps the same promises to whoever drives it, whatever it plays."""

from collections.abc import Callable
from itertools import pairwise
from random import Random

import pytest

from coordinator.wire.codec import decode, encode
from coordinator.wire.messages import (
    Ask,
    Body,
    Disarm,
    Do,
    FloorSignals,
    Hold,
    Lease,
    MakeReady,
    Message,
    Release,
    SimulatedFacts,
)
from coordinator.wire.topics import topic_of
from sim_arms.arm import Arm
from sim_arms.causes import Causes
from sim_arms.floor import Floor
from sim_arms.ledger import Ledger, MemoryStore
from sim_arms.party import SimulatedParty
from sim_arms.shell import Shell
from sim_arms.steel import Steel
from sim_arms.workbench import Settings
from tests.support.parties import SECOND_US, SmallBench
from tests.support.steel import small_joint
from tests.unit.sim_arms.test_floor import GOOD


def small_shell() -> SimulatedParty:
    """A shell on a bench of one-second actions."""
    return Shell(Settings("fore"), SmallBench(), Ledger(MemoryStore()), Random(1))


def arm() -> SimulatedParty:
    """An arm with its real bench."""
    return Arm.on(Settings("fore"), Steel(small_joint(), 1), Causes(), 1)


def floor() -> SimulatedParty:
    """The floor with the hoist."""
    return Floor.on(Settings("hoist"), Steel(small_joint(), 1), (), 1, signals=GOOD)


MAKERS = [small_shell, arm, floor]
Maker = Callable[[], SimulatedParty]
ACTIONS = ("move", "pull", "fail", "park", "bring_length", "stand_by", "stand_by", "dance")


def storm(seed: int, count: int = 1000) -> list[tuple[int, Body, int, bool]]:
    """Draw commands, leases and facts in no sensible order: (time, body, epoch, retained)."""
    dice = Random(seed)
    now_us, number = 0, 0
    drawn: list[tuple[int, Body, int, bool]] = []
    for _ in range(count):
        now_us += dice.randint(0, SECOND_US)
        number += dice.randint(0, 2)
        known = dice.randint(max(1, number - 3), number + 1)
        last = dice.choice([0, number])
        drawable: list[Body] = [
            *[Do(known, "s", dice.choice(ACTIONS), {}, dice.choice([None, "pull"]))] * 4,
            *[Release(known, now_us + dice.randint(-SECOND_US, SECOND_US))] * 2,
            Disarm(known, "drawn"),
            Hold("drawn", last),
            *[MakeReady(last)] * 4,
            Ask(known),
            Lease(now_us + dice.randint(0, 3 * SECOND_US)),
            *[Lease(now_us + 3 * SECOND_US)] * 3,
            FloorSignals({"floor_clear": dice.choice([True, False, None])}),
            SimulatedFacts({}),
        ]
        body = dice.choice(drawable)
        drawn.append((now_us, body, dice.choice([2, 2, 2, 1]), dice.random() < 0.05))
    return drawn


def weather(party: SimulatedParty, seed: int) -> list[Message]:
    """Let a party live through a storm and return what it said."""
    said = party.connected(0)
    for now_us, body, epoch, retained in storm(seed):
        while (due_us := party.next_us()) is not None and due_us <= now_us:
            said += party.advance(due_us)
        subject = party.answers_to[0]
        message = Message("coordinator", subject, 1, epoch, now_us, body, now_us + SECOND_US)
        said += party.receive(message, now_us, retained)
    return said


@pytest.mark.parametrize("make", MAKERS)
@pytest.mark.parametrize("seed", range(5))
def test_in_any_storm_each_source_counts_its_messages_and_each_fits_the_contract(
    make: Maker, seed: int
) -> None:
    """WR6, WR4: whoever listens can tell a gap, and can read everything."""
    said = weather(make(), seed)

    for source in {message.source: None for message in said}:
        numbers = [message.sequence for message in said if message.source == source]
        assert all(later == earlier + 1 for earlier, later in pairwise(numbers))
    for message in said:
        assert decode(topic_of("cell", message), encode(message)) == message


@pytest.mark.parametrize("make", MAKERS)
@pytest.mark.parametrize("seed", range(5))
def test_in_any_storm_the_same_party_says_the_same(make: Maker, seed: int) -> None:
    """N2 begins with the parties."""
    assert weather(make(), seed) == weather(make(), seed)


@pytest.mark.parametrize("make", MAKERS)
def test_after_an_advance_the_next_time_lies_ahead(make: Maker) -> None:
    """N3: a party must let time pass."""
    party = make()
    party.connected(0)
    now_us = 0
    for _ in range(50):
        party.advance(now_us)
        next_us = party.next_us()
        assert next_us is not None
        assert next_us > now_us
        assert party.advance(now_us) == []
        now_us = next_us


@pytest.mark.parametrize("make", MAKERS)
@pytest.mark.parametrize("seed", range(5))
def test_in_any_storm_every_command_moves_at_most_once_and_ends_at_most_once(
    make: Maker, seed: int
) -> None:
    """A4: a second ending is only ever a word-for-word repeat of the first."""
    endings: dict[int, Body] = {}
    for message in weather(make(), seed):
        body, kind = message.body, type(message.body).__name__
        if kind in ("Finished", "Faulted", "Interrupted"):
            command: int = body.command  # type: ignore[union-attr]  # all three name theirs
            assert endings.setdefault(command, body) == body
    assert len(endings) >= 3  # The storm is strong enough to move everybody.


@pytest.mark.parametrize("make", MAKERS)
def test_a_reborn_party_is_held_with_a_new_boot(make: Maker) -> None:
    """H3 over a restart."""
    party = make()
    weather(party, 1)
    boot = party.will().body.boot  # type: ignore[union-attr]  # a will is a party state

    born = party.reborn(1000 * SECOND_US)

    states = [
        m.body for m in born.connected(1000 * SECOND_US) if type(m.body).__name__ == "PartyState"
    ]
    assert [(s.state, s.boot) for s in states] == [("held", boot + 1)]  # type: ignore[union-attr]  # filtered above
