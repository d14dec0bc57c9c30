"""The border of the bus: a party speaks for itself, in numbers that everybody can count."""

import json
from dataclasses import replace

import pytest

from coordinator.live.link import Delivered, Dropped, read_delivery
from coordinator.wire.codec import RemoteProtocolError, decode, encode
from coordinator.wire.messages import Body, Finished, Lease, MakeReady, Message, PartyState
from coordinator.wire.topics import topic_of


def _message(source: str, subject: str, body: Body) -> Message:
    return Message(source, subject, sequence=1, epoch=1, sent_us=1, body=body, ordinal=1)


@pytest.mark.parametrize(
    ("subject", "owner", "body"),
    [
        ("aft", "aft", Finished(1)),
        ("aft", "aft", PartyState(online=True)),
        ("aft", "coordinator", MakeReady(1)),
        ("all", "coordinator", Lease(1)),
    ],
)
def test_only_the_owner_of_a_topic_is_heard_on_it(subject: str, owner: str, body: Body) -> None:
    """WR3: with one arm's password nobody writes another's reports, nor a command."""
    own = _message(owner, subject, body)
    topic = topic_of("cell", own)

    heard = read_delivery(topic, encode(own), retained=False)
    forged = read_delivery(topic, encode(replace(own, source="fore")), retained=False)

    assert heard == Delivered(own, retained=False)
    assert isinstance(forged, Dropped)
    assert "LNK009" in forged.reason


@pytest.mark.parametrize("name", ["sequence", "epoch", "ordinal"])
@pytest.mark.parametrize("value", [2**53, 2**64, -1, True, 1.5, "1", [1]])
def test_a_number_that_nobody_can_count_is_dropped(name: str, value: object) -> None:
    """WR3: an ordinal of 2**64 ended the coordinator that counted up to it."""
    envelope = json.loads(encode(_message("aft", "aft", Finished(1))))

    with pytest.raises(RemoteProtocolError, match="LNK003"):
        decode("topic", json.dumps(envelope | {name: value}).encode())
