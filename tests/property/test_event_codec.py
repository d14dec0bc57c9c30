"""Events survive the journal exactly, or a replay would decide something else."""

from hypothesis import given

from coordinator.core.events import Event
from coordinator.records.event_codec import decode_event, encode_event
from tests.support.core_events import events


@given(events())
def test_decode_after_encode_is_the_identity(event: Event) -> None:
    """J2, for every kind of event."""
    assert decode_event(*encode_event(event)) == event
