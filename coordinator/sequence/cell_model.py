"""Describe a cell file: two sides with their tools, the floor's signals, and what can be done.

Units: torque newton metre, lengths metre, times microseconds.
"""

from enum import StrEnum
from typing import Literal

from pydantic import Field

from coordinator.core.plan import InterlockKind, Timing
from coordinator.sequence.fields import (
    Day,
    Duration,
    Length,
    Name,
    Reference,
    Strict,
    Torque,
)

LIST_MAX = 64
"""Chosen: what one action takes, raises and gives has a bound."""

_TIMING = Timing()


class ParameterKind(StrEnum):
    """What a parameter of an action means."""

    ANGLE = "angle"
    BOLT = "bolt"
    COUNT = "count"
    FLAG = "flag"
    FORCE = "force"
    LENGTH = "length"
    NUMBER = "number"
    PRESSURE = "pressure"
    SHARE = "share"
    TEXT = "text"
    TIME = "time"
    TOOL = "tool"
    TORQUE = "torque"


ParameterWord = Literal[
    "angle",
    "bolt",
    "count",
    "flag",
    "force",
    "length",
    "number",
    "pressure",
    "share",
    "text",
    "time",
    "tool",
    "torque",
]
RecordWord = Literal["run-up", "pull", "confirm", "check", "break-out", "back-out"]
HoldWord = Literal["stop", "finish", "relieve"]
InterlockWord = Literal["interlock", "trip", "permissive"]


class TimingModel(Strict):
    """Times of the link between the coordinator and the parties."""

    lease: Duration = _TIMING.lease_us
    renew: Duration = _TIMING.renew_us
    acknowledge: Duration = _TIMING.acknowledge_us
    asks: int = Field(_TIMING.asks, ge=1, le=10)
    expiry: Duration = _TIMING.expiry_us
    lead: Duration = _TIMING.lead_us
    hold: Duration = _TIMING.hold_us


class ToolModel(Strict):
    """What a tool can do and until when its calibration counts."""

    torque_max: Torque | None = None
    sockets: tuple[Length, ...] = ()
    """Widths across flats that it has a socket for; the joint decides which one is fitted."""
    points: Literal[6, 12] | None = None
    calibrated: Day | None = None
    calibration_due: Day | None = None


class SideModel(Strict):
    """One arm and its tools."""

    text: str = ""
    tools: dict[Name, ToolModel]


class SignalModel(Strict):
    """A signal of the floor and how old it may be."""

    text: str
    max_age: Duration
    period: Duration


class InterlockModel(Strict):
    """When nobody may move, and what to do about it."""

    kind: InterlockWord
    good_when: Reference
    cause: str
    consequence: str
    operator_action: str

    @property
    def core_kind(self) -> InterlockKind:
        """The kind as the core knows it."""
        return InterlockKind(self.kind)


class FaultModel(Strict):
    """A way in which a step can fail."""

    text: str
    alone: bool = True
    """Whether a step may be tried again without a person."""


class ActionModel(Strict):
    """Something that a party can be asked to do."""

    text: str = ""
    by: Literal["arm", "hoist"] = "arm"
    needs: Reference | None = None
    takes: dict[Name, ParameterWord] = Field(default_factory=dict, max_length=LIST_MAX)
    raises: tuple[Reference, ...] = Field((), max_length=LIST_MAX)
    results: tuple[Name, ...] = Field((), max_length=LIST_MAX)
    timeout: Duration
    no_progress: Duration = 5_000_000
    on_hold: HoldWord = "stop"
    zone: Reference | None = None
    records: RecordWord | None = None
    recheck: tuple[Reference, ...] = Field((), max_length=LIST_MAX)

    def first_of(self, kind: ParameterKind) -> str | None:
        """Return the name of the first parameter of a kind, or None."""
        return next((name for name, word in self.takes.items() if word == kind), None)


class CellModel(Strict):
    """The whole of a cell file."""

    cell: Name
    text: str
    timing: TimingModel = Field(default_factory=lambda: TimingModel.model_validate({}))
    sides: dict[Name, SideModel] = Field(min_length=2, max_length=2)
    hoist: Name | None = None
    zones: tuple[Name, ...] = ()
    signals: dict[Name, SignalModel] = Field(default_factory=dict)
    interlocks: dict[Name, InterlockModel] = Field(default_factory=dict)
    faults: dict[Name, FaultModel]
    actions: dict[Name, ActionModel]
