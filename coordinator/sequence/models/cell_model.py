"""Describe a cell file: two sides with their tools, the floor's signals, and what can be done.

Units: torque newton metre, lengths metre, times microseconds.
"""

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field

from coordinator.core.plan import InterlockKind, Timing
from coordinator.sequence.models.fields import (
    Day,
    Duration,
    Length,
    Name,
    Reference,
    Strict,
    Torque,
    one_of,
)
from coordinator.sequence.models.gateway_model import GatewayModel

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


ParameterWord = Annotated[ParameterKind, *one_of(ParameterKind)]
RecordWord = Literal["run-up", "pull", "confirm", "check", "break-out", "back-out"]
HoldWord = Literal["stop", "finish", "relieve", "retract"]
InterlockWord = Literal["interlock", "trip", "permissive"]


class TimingModel(Strict):
    """Times of the link between the coordinator and the parties."""

    lease: Duration = _TIMING.lease_us
    """How long arms move without a fresh lease."""
    renew: Duration = _TIMING.renew_us
    """How often the lease is renewed; below `lease`."""
    acknowledge: Duration = _TIMING.acknowledge_us
    """Silence after a command before the party is asked again."""
    asks: int = Field(_TIMING.asks, ge=1, le=10)
    """How often it is asked before it counts as silent."""
    expiry: Duration = _TIMING.expiry_us
    """How long a command counts."""
    lead: Duration = _TIMING.lead_us
    """From the release of a barrier to the start time that it carries."""
    hold: Duration = _TIMING.hold_us
    """Time in which every party must stand."""


class ToolModel(Strict):
    """What a tool can do and until when its calibration counts."""

    torque_max: Torque | None = None
    """The most it may pull with."""
    sockets: tuple[Length, ...] = ()
    """Widths across flats that it has a socket for; the joint decides which one is fitted."""
    points: Literal[6, 12] | None = None
    """Points of its socket."""
    calibrated: Day | None = None
    """Day of its calibration."""
    calibration_due: Day | None = None
    """Last day on which the calibration counts."""


class SideModel(Strict):
    """One arm and its tools."""

    text: str = ""
    """What arm it is."""
    tools: dict[Name, ToolModel]
    """The tools that it can mount."""


class SignalModel(Strict):
    """A signal of the floor and how old it may be."""

    text: str
    """What it says while it is true."""
    max_age: Duration
    """How old it may be and still count."""
    period: Duration
    """How often it comes."""


class InterlockModel(Strict):
    """When nobody may move, and what to do about it."""

    kind: InterlockWord
    """interlock holds while active; trip stays latched until a reset; permissive to start."""
    good_when: Reference
    """Its signal; good only while that is true and fresh."""
    cause: str
    """What has happened, as the operator reads it."""
    consequence: str
    """What could follow."""
    operator_action: str
    """What the operator has to do."""
    override: Duration | None = None
    """How long a person may override it at most; without it never."""
    recheck: tuple[Reference, ...] = Field((), max_length=LIST_MAX)
    """Actions that every arm makes, before it starts over, once it has acted."""

    @property
    def core_kind(self) -> InterlockKind:
        """The kind as the core knows it."""
        return InterlockKind(self.kind)


class FaultModel(Strict):
    """A way in which a step can fail."""

    text: str
    """What it means."""
    alone: bool = True
    """Whether a step may be tried again without a person; `no` where it never is."""


class ActionModel(Strict):
    """Something that a party can be asked to do."""

    text: str = ""
    """What it does."""
    by: Literal["arm", "hoist"] = "arm"
    """Whose action it is."""
    needs: Reference | None = None
    """The tool that must be mounted."""
    takes: dict[Name, ParameterWord] = Field(default_factory=dict, max_length=LIST_MAX)
    """Its parameters, each with its kind."""
    raises: tuple[Reference, ...] = Field((), max_length=LIST_MAX)
    """Faults that it may raise."""
    results: tuple[Name, ...] = Field((), max_length=LIST_MAX)
    """What it reports; the end of a name is its unit, such as torque_nm."""
    timeout: Duration
    """How long it may last."""
    no_progress: Duration = 5_000_000
    """How long without any sign of progress."""
    on_hold: HoldWord = "stop"
    """What a hold does to it: stop at once, finish, or relieve the pressure."""
    zone: Reference | None = None
    """The zone that it enters; one arm at a time."""
    records: RecordWord | None = None
    """What it proves about its bolt."""
    recheck: tuple[Reference, ...] = Field((), max_length=LIST_MAX)
    """Actions made again before it starts over after an interruption."""
    leave: tuple[Reference, ...] = Field((), max_length=LIST_MAX)
    """Actions by which what it is about is left in order, where a person says so."""
    reacts_on: Name | None = None
    """Its parameter that names the neighbouring bolt on which the reaction arm leans."""
    puts_in: Name | None = None
    """What it puts into the joint that must come out again, such as cover or pin."""
    takes_out: Name | None = None
    """What it takes out again, by the same name."""
    brings: tuple[Reference, ...] = Field((), max_length=LIST_MAX)
    """Interlocks that are active from its beginning, until an action clears them."""
    clears: tuple[Reference, ...] = Field((), max_length=LIST_MAX)
    """Interlocks that are good again once it is done."""
    hands_over: bool = False
    """Whether it hands the joint over; every bolt must be proved before."""

    def first_of(self, kind: ParameterKind) -> str | None:
        """Return the name of the first parameter of a kind, or None."""
        return next((name for name, word in self.takes.items() if word == kind), None)


class CellModel(Strict):
    """The whole of a cell file."""

    KIND = "cell"

    cell: Name
    """Its name."""
    text: str
    """What it is."""
    timing: TimingModel = Field(default_factory=lambda: TimingModel.model_validate({}))
    """Times of the link between coordinator and parties."""
    sides: dict[Name, SideModel] = Field(min_length=2, max_length=2)
    """The two arms."""
    hoist: Name | None = None
    """Name of the lane of the hoist operator."""
    zones: tuple[Name, ...] = ()
    """What only one arm may enter at a time."""
    clearance: Length | None = None
    """How near the arms may come to each other in any order of events; without it `check` only
    reports how near they can come."""
    signals: dict[Name, SignalModel] = Field(default_factory=dict)
    """What the floor tells."""
    interlocks: dict[Name, InterlockModel] = Field(default_factory=dict)
    """When nobody may move."""
    faults: dict[Name, FaultModel]
    """Ways in which steps can fail."""
    actions: dict[Name, ActionModel]
    """What parties can be asked to do."""
    gateway: GatewayModel | None = None
    """Where a real floor's signals are read; simulated floors need none."""
