"""Whatever one party's account may send, nothing ends, and nothing of it is believed of another."""

import copy
import json
from random import Random

import pytest

from coordinator.core.events import Act
from coordinator.live.coordinator import Coordinator
from coordinator.live.link import Delivered, Delivery, Dropped, Inbox, read_delivery
from coordinator.wire.codec import RemoteProtocolError, decode, encode
from coordinator.wire.messages import (
    Accepted,
    Armed,
    Body,
    Faulted,
    Finished,
    FloorSignals,
    Held,
    Interrupted,
    Message,
    PartyState,
    Progressed,
    Ready,
    Refused,
    SimulatedFacts,
    Started,
    Trace,
)
from coordinator.wire.topics import topic_of
from tests.support.small_plan import small_plan

CASES = 20_000
ESCAPE = "\x1b]0;owned\x07\x1b[2J\u202e\u0085"
HOSTILE: tuple[object, ...] = (
    *(0, -1, 1, 7, 2**31, 2**53, 2**64, 10**400, 1.5, -1e308, True, None),
    *("", ESCAPE, "fore", "coordinator", "floor", "all", "x" * 10_000, "2**64", "9999-12-31"),
    *([], {}, [1] * 100, {"a": {"b": {}}}, {"process_died": True}),
)
BODIES: tuple[Body, ...] = (
    *(Accepted(1), Armed(1), Started(1, 5), Progressed(1, 9.0), Held("x", 1), Ready(1)),
    *(Finished(1, {"torque_nm": 9.0}, Trace((0.0,), (1.0,), (1.0,), (0.0,))), Faulted(1, "leak")),
    *(Interrupted(1), Refused(1, "no_lease", "why"), PartyState(True, 1, "idle", tool="wrench")),
    *(FloorSignals({"clear": True}), SimulatedFacts({"a": 1})),
)


def mutated(random: Random, account: str) -> tuple[str, bytes]:
    """Return what an account sends: one of its messages with some of its fields spoiled."""
    body = random.choice(BODIES)
    epoch, ordinal = random.choice((1, 1, 1, 2)), random.randrange(1, 50)
    message = Message(account, account, 1, epoch, random.randrange(10**9), body, ordinal=ordinal)
    content = json.loads(encode(message))
    for _ in range(random.randrange(1, 4)):
        where = random.choice((content, content["data"]))
        if isinstance(where, dict) and where:
            where[random.choice(sorted(where))] = copy.deepcopy(random.choice(HOSTILE))
    return topic_of("cell", message), json.dumps(content).encode()


@pytest.mark.parametrize("account", ["aft", "floor"])
def test_no_message_of_one_account_ends_a_run_or_speaks_for_another(account: str) -> None:
    """WR10: judged by what the coordinator keeps of the other arm, and by its still being there."""
    random, coordinator = Random(account), Coordinator(small_plan(), epoch=1)
    for name in ("fore", "aft"):
        coordinator.receive(Message(name, name, 1, 1, 1, PartyState(True, 1, tool="mine")), 10)
    coordinator.act(Act.START, "Ada", 20)
    taken = 0
    for at_us in range(30, 30 + CASES):
        delivery = read_delivery(*mutated(random, account), retained=False)
        if isinstance(delivery, Delivered):
            taken += 1
            said = delivery.message
            # Facts about simulated steel are heard by simulated parties, and decided on by nobody.
            is_fact = isinstance(said.body, SimulatedFacts)
            assert said.source == said.subject == account or is_fact
            coordinator.receive(delivery.message, at_us)
        else:
            assert isinstance(delivery, Dropped)
            assert delivery.reason.isprintable()

    assert taken > CASES / 10
    assert coordinator.seen["fore"] == PartyState(True, 1, tool="mine")
    assert coordinator.state.lanes[0].party.online
    assert len(coordinator.dropped) < 100


def test_a_number_that_no_machine_counts_with_is_refused() -> None:
    """An ordinal of 2**64 ended the coordinator."""
    content = json.loads(encode(Message("aft", "aft", 1, 1, 1, Accepted(1), ordinal=3)))
    for name in ("ordinal", "sequence", "epoch"):
        for value in (2**64, 2**53, -1, "7", 1.5, True):
            with pytest.raises(RemoteProtocolError, match=r"LNK003"):
                decode("x", json.dumps({**content, name: value}).encode())
    with pytest.raises(RemoteProtocolError, match=r"must be at most"):
        decode("x", json.dumps({**content, "data": {"command": 2**64}}).encode())


def test_no_character_of_a_party_acts_on_a_terminal() -> None:
    """WR12: the words are kept, what would move a cursor or turn the line round is marked."""
    body = Refused(1, "unfit", f"tool {ESCAPE} ä 7 N·m\nend")
    message = Message("aft", "aft", 1, 1, 1, body)

    read = decode("x", encode(message)).body

    assert isinstance(read, Refused)
    assert read.detail.isprintable()
    assert read.detail.startswith("tool ")
    assert read.detail.endswith("ä 7 N·m end")


def test_a_flood_of_one_party_leaves_the_others_heard() -> None:
    """WR11: dropped unread beyond a rate, told once, and heard again once it has calmed down."""
    now_s = [0.0]
    taken: list[Delivery] = []

    class Noting(Inbox):
        def put(self, delivery: Delivery) -> None:
            taken.append(delivery)

    inbox = Noting(rate=100, now_s=lambda: now_s[0])
    aft, fore = (Message(name, name, 1, 1, 1, Accepted(1)) for name in ("aft", "fore"))
    for _ in range(5_000):
        inbox.put_raw(topic_of("cell", aft), encode(aft), retained=False)
    inbox.put_raw(topic_of("cell", fore), encode(fore), retained=False)
    now_s[0] = 1.0
    inbox.put_raw(topic_of("cell", aft), encode(aft), retained=False)

    kinds = [type(one).__name__ for one in taken]
    assert kinds == ["Delivered"] * 200 + ["Dropped", "Delivered", "Delivered"]
