"""Describe what a sequence's author wants proved of it, beside what every sequence is held to.

A property is exactly one of never, always_before and at_most; what it speaks of is exactly one of
begins, ends, under_way, signal and zone.
"""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, Discriminator, Field, Tag

from coordinator.sequence.models.fields import Reference, Strict, Written

PROPERTY_KEYS = ("never", "always_before", "at_most")
HAPPENING_KEYS = ("begins", "ends", "under_way", "signal", "zone")
TIMES_MAX = 1_000
"""Chosen: far more than any step begins in one run."""
TOGETHER_MAX = 8
"""Chosen: more at once than there are lanes, tools and signals to speak of in one sentence."""

_Parameters = Annotated[dict[str, Written], Field(max_length=TOGETHER_MAX)]


class BeginsModel(Strict):
    """A party begins an action: it is sent, or released at a barrier."""

    begins: Reference
    """The action of the cell; in a step, a recovery or a re-check."""
    lane: Reference | None = None
    """Whose; anybody's without it."""
    with_: _Parameters = Field(default_factory=dict, alias="with")
    """Only with these parameters, such as `bolt: 3`."""


class EndsModel(Strict):
    """A step counts as done; what a person has done by hand counts too."""

    ends: Reference
    """The action of the step."""
    lane: Reference | None = None
    """Whose; anybody's without it."""
    with_: _Parameters = Field(default_factory=dict, alias="with")
    """Only with these parameters, such as `bolt: 3`."""


class UnderWayModel(Strict):
    """A party has begun an action and has not ended it."""

    under_way: Reference
    """The action of the cell; in a step, a recovery or a re-check."""
    lane: Reference | None = None
    """Whose; anybody's without it."""
    with_: _Parameters = Field(default_factory=dict, alias="with")
    """Only with these parameters, such as `bolt: 3`."""


class SignalIsModel(Strict):
    """A signal of the floor is good, or bad: false, unknown or too old."""

    signal: Reference
    """The signal of the cell."""
    is_: Literal["good", "bad"] = Field(alias="is")
    """Which of the two."""


class InZoneModel(Strict):
    """Somebody is at work in a zone."""

    zone: Reference
    """The zone of the cell."""
    lane: Reference | None = None
    """Who; anybody without it."""


def _key_tag(value: Any, keys: tuple[str, ...]) -> str | None:
    if isinstance(value, BaseModel):
        return ":" + next(key for key in keys if hasattr(value, key))
    if not isinstance(value, dict):
        return None
    return next((f":{key}" for key in keys if key in value), None)


def _happening_tag(value: Any) -> str | None:
    return _key_tag(value, HAPPENING_KEYS)


def _property_tag(value: Any) -> str | None:
    return _key_tag(value, PROPERTY_KEYS)


HappeningModel = Annotated[
    Annotated[BeginsModel, Tag(":begins")]
    | Annotated[EndsModel, Tag(":ends")]
    | Annotated[UnderWayModel, Tag(":under_way")]
    | Annotated[SignalIsModel, Tag(":signal")]
    | Annotated[InZoneModel, Tag(":zone")],
    Discriminator(_happening_tag),
]


class NeverModel(Strict):
    """What must never be so."""

    text: str
    """What is promised, in a sentence."""
    never: tuple[HappeningModel, ...] = Field(min_length=1, max_length=TOGETHER_MAX)
    """What never happens, or what is never so at the same moment."""


class OrderModel(Strict):
    """Two things of which one must have happened before the other may."""

    first: HappeningModel
    """What must have happened at least once."""
    then: HappeningModel
    """What may happen only afterwards."""


class AlwaysBeforeModel(Strict):
    """What must have happened before something else."""

    text: str
    """What is promised, in a sentence."""
    always_before: OrderModel
    """What comes first, and what only then."""


class CountModel(Strict):
    """How often something may happen."""

    times: int = Field(json_schema_extra={"minimum": 1, "maximum": TIMES_MAX}, ge=1, le=TIMES_MAX)
    """The most, 1 to 1000, in one run."""
    of: HappeningModel
    """What is counted each time that it happens."""


class AtMostModel(Strict):
    """How often something happens at most."""

    text: str
    """What is promised, in a sentence."""
    at_most: CountModel
    """How often, and what."""


PropertyModel = Annotated[
    Annotated[NeverModel, Tag(":never")]
    | Annotated[AlwaysBeforeModel, Tag(":always_before")]
    | Annotated[AtMostModel, Tag(":at_most")],
    Discriminator(_property_tag),
]
