"""The codec at the bus's border: every message survives, no junk gets in."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.wire.codec import (
    BYTES_MAX,
    RemoteProtocolError,
    decode,
    encode,
    from_time,
    to_time,
    type_name_of,
)
from coordinator.wire.messages import Accepted, Body, Message
from tests.support.core_events import bodies, messages

TOPIC = "bothsides/cell/fore/report"


@given(messages())
def test_decode_after_encode_is_the_identity(message: Message) -> None:
    """WR4, for every body and every field."""
    assert decode(TOPIC, encode(message)) == message


@given(bodies(), bodies())
def test_every_kind_of_body_has_a_type_name_of_its_own(one: Body, other: Body) -> None:
    """Two kinds under one name could not be told apart."""
    assert (type_name_of(one) == type_name_of(other)) == (type(one) is type(other))


@given(bodies())
def test_the_envelope_has_the_attributes_of_cloudevents(body: Body) -> None:
    """CloudEvents 1.0, required attributes: id, source, specversion, type."""
    envelope = json.loads(encode(Message("fore", "fore", 1, 2, 3, body, 4)))

    assert envelope["specversion"] == "1.0"
    assert {"id", "source", "type", "subject", "time", "data", "sequence", "expirytime"} <= set(
        envelope
    )


@given(st.integers(-62_135_596_800_000_000, 253_402_300_799_999_999))
def test_a_time_survives_as_text_to_the_microsecond(at_us: int) -> None:
    """Release times must not be rounded on their way."""
    assert from_time(to_time(at_us)) == at_us


@given(st.binary(max_size=200) | st.text(max_size=200).map(str.encode))
def test_junk_is_refused_with_a_code_and_never_crashes(payload: bytes) -> None:
    """WR3: whatever comes in, the border holds."""
    with pytest.raises(RemoteProtocolError, match=r"\[LNK00[1-4]\]"):
        decode(TOPIC, payload)


@given(messages(), st.data())
def test_a_message_with_one_attribute_missing_is_refused(
    message: Message, data: st.DataObject
) -> None:
    """Half a message is none."""
    envelope = json.loads(encode(message))
    needed = ("source", "type", "subject", "time", "sequence", "epoch", "data")
    del envelope[data.draw(st.sampled_from(needed))]

    with pytest.raises(RemoteProtocolError, match="LNK003"):
        decode(TOPIC, json.dumps(envelope).encode())


def test_a_body_with_a_foreign_field_is_refused() -> None:
    """A field that we do not know may mean that we do not understand the message."""
    envelope = json.loads(encode(Message("fore", "fore", 1, 2, 3, Accepted(4))))
    envelope["data"]["force"] = True

    with pytest.raises(RemoteProtocolError, match=r"data\.force.*LNK004"):
        decode(TOPIC, json.dumps(envelope).encode())


def test_a_message_beyond_the_limit_is_not_even_read() -> None:
    """A parser fed without bound is a way to stop the coordinator."""
    with pytest.raises(RemoteProtocolError, match="LNK001"):
        decode(TOPIC, b" " * (BYTES_MAX + 1))


@pytest.mark.parametrize("payload", [b"[" * 100_000, b"1" * 5_000, b'{"type": 1e999}', b"null"])
def test_hostile_json_is_refused(payload: bytes) -> None:
    """Depth, length of a number, infinity: known ways to hurt a reader."""
    with pytest.raises(RemoteProtocolError, match=r"\[LNK00[23]\]"):
        decode(TOPIC, payload)
