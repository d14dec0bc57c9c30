"""Describe a sequence file: lanes of steps, the barriers they meet at, and what follows a fault.

A step is exactly one of do, use, each and barrier.

Units: times microseconds, torque newton metre.
"""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Discriminator, Field, Tag

from coordinator.core.plan import Option
from coordinator.sequence.models.cell_model import HoldWord
from coordinator.sequence.models.fields import Duration, Name, Reference, Strict, Written, one_of
from coordinator.sequence.models.property_model import PropertyModel

STEP_KEYS = ("do", "use", "each", "barrier", "point")
LIST_MAX = 64
"""Chosen: twice the bolts of the largest joint; what stands at one step has a bound."""

Parameters = Annotated[dict[str, Written], Field(max_length=LIST_MAX)]
References = Annotated[tuple[Reference, ...], Field(max_length=LIST_MAX)]
AnswerWord = Annotated[Option, *one_of(Option)]
_RELEASE: dict[Option, str] = {
    Option.RELEASE: "goes on from here",
    Option.HOLD: "holds both arms; after a restart the point is asked about again",
    Option.ABORT: "ends the procedure where it stands",
}


class BarrierModel(Strict):
    """A meeting of lanes; with `paired_until` it opens a paired span."""

    model_config = ConfigDict(
        json_schema_extra={
            "required": ["timeout"],
            "dependentRequired": {
                "paired_until": ["balance", "stop"],
                "balance": ["paired_until", "stop"],
                "stop": ["paired_until", "balance"],
            },
        }
    )

    text: str = ""
    """What it is for."""
    timeout: Duration | None = None
    """How long it may wait for all lanes; must be given."""
    window: Duration = 50_000
    """Allowed difference of the actual starts."""
    paired_until: Reference | None = None
    """The barrier that closes the paired span; one fate for both sides until there."""
    balance: Written | None = None
    """A torque, or a reference to one of the joint."""
    stop: Duration | None = None
    """Time in which the other side must stand after a fault of one."""


class PromptModel(Strict):
    """A question to a person about a fault."""

    text: str
    """The question, and what to look at."""
    caution: str
    """The warning that stands with it."""
    who: str = ""
    """Whose answer is asked for, in the author's words."""
    options: dict[AnswerWord, str] = Field(min_length=1)
    """What each answer does."""


class PointModel(Strict):
    """A hold point, which a person must release, or a witness point, which is told and passed."""

    kind: Literal["hold", "witness"]
    """Whether it stops until somebody releases it (hold), or is told and passed (witness)."""
    who: str
    """Who releases or witnesses it, in the author's words."""
    text: str
    """What to look at."""
    caution: str = ""
    """The warning that stands with it."""
    options: dict[AnswerWord, str] = Field(default_factory=lambda: dict(_RELEASE))
    """What each answer does."""


class AskModel(Strict):
    """Ask a person, with this prompt."""

    ask: Reference
    """The prompt to ask a person."""


class MoveModel(Strict):
    """A move of a recovery; what it is not given it takes from the step, or its last like above."""

    do: Reference
    """The action of the cell."""
    with_: Parameters = Field(default_factory=dict, alias="with")
    """Its parameters; the rest comes from the step, or from the last such action above it."""


def _then_tag(value: Any) -> str:
    return ":ask" if isinstance(value, dict | AskModel) else ":word"


Then = Annotated[
    Annotated[Literal["hold", "abort"], Tag(":word")] | Annotated[AskModel, Tag(":ask")],
    Discriminator(_then_tag),
]


class RuleModel(Strict):
    """What a step does about one kind of fault."""

    attempts: int = Field(1, json_schema_extra={"minimum": 1, "maximum": 10})
    """How often the step is tried in all without a person, 1 to 10."""
    recover: tuple[MoveModel, ...] = Field((), max_length=LIST_MAX)
    """Moves before the next attempt."""
    again_from: Reference | None = None
    """Id of an earlier step of the same list at which the next attempt starts."""
    then: Then = "hold"
    """What follows the last attempt."""


Rules = Annotated[dict[Reference, RuleModel], Field(max_length=LIST_MAX)]
"""What follows each kind of fault."""


class ExceptionModel(Strict):
    """A named way of moving all the same while an interlock is active."""

    model_config = ConfigDict(json_schema_extra={"required": ["interlock", "reason"]})

    interlock: Reference
    """The interlock that may be active meanwhile."""
    reason: str = Field("", json_schema_extra={"pattern": r"\S"})
    """Why it may be."""


class DoStep(Strict):
    """One action of the lane's party."""

    do: Reference
    """The action of the cell."""
    with_: Parameters = Field(default_factory=dict, alias="with")
    """Its parameters: values with their unit, or references such as $pair.own."""
    id: Name | None = None
    """Its name within the list, for `after` and `again_from`."""
    after: References | None = None
    """Steps of the same list it waits for, instead of the one above."""
    policy: Reference | None = None
    """What follows its faults."""
    expect: dict[str, tuple[Written, Written]] = Field(default_factory=dict, max_length=LIST_MAX)
    """Results, each with the least and the most allowed."""
    round: Written | None = None
    """The round it is recorded under."""
    timeout: Duration | None = None
    """How long it may last, instead of the action's time."""
    no_progress: Duration | None = None
    """How long without any sign of progress, instead of the action's time."""
    on_hold: HoldWord | None = None
    """What a hold does to it, instead of what its action says."""
    recheck: References | None = None
    """Actions made again before an interrupted step starts over."""
    permissives: References = ()
    """Interlocks that must be met for it to start."""
    exceptions: References = ()
    """Exceptions that hold for it."""


class UseStep(Strict):
    """A block, with its parameters."""

    use: Reference
    """The block of this file."""
    with_: Parameters = Field(default_factory=dict, alias="with")
    """Its parameters."""
    exceptions: References = ()
    """Exceptions that hold for all its steps."""


class EachStep(Strict):
    """A loop over the joint: this side's bolts, the opposite pairs, or the rounds."""

    each: Literal["own_bolt", "pair", "round"]
    """What is gone over: this side's bolts, the opposite pairs in order, the rounds."""
    only: tuple[Written, ...] | None = None
    """The bolts, or the numbers of rounds, that the loop keeps to."""
    half: Literal["first", "second"] | None = None
    """Only the first half of the turns, the middle one with it, or the rest."""
    steps: "Steps"
    """What is repeated."""
    exceptions: References = ()
    """Exceptions that hold for all its steps."""


class BarrierStep(Strict):
    """The lane's place in a barrier."""

    barrier: Reference
    """The barrier to meet at."""


class PointStep(Strict):
    """The lane's place at a hold point or a witness point."""

    point: Reference
    """Name of the hold point or witness point."""
    id: Name | None = None
    """Its name within the list, for `after` and `again_from`."""
    after: tuple[Reference, ...] | None = None
    """Ids of steps that must be done before."""


def _step_tag(value: Any) -> str | None:
    if isinstance(value, BaseModel):
        return ":" + next(key for key in STEP_KEYS if hasattr(value, key))
    if not isinstance(value, dict):
        return None
    return next((f":{key}" for key in STEP_KEYS if key in value), None)


Step = Annotated[
    Annotated[DoStep, Tag(":do")]
    | Annotated[UseStep, Tag(":use")]
    | Annotated[EachStep, Tag(":each")]
    | Annotated[BarrierStep, Tag(":barrier")]
    | Annotated[PointStep, Tag(":point")],
    Discriminator(_step_tag),
]
Steps = Annotated[tuple[Step, ...], Field(min_length=1)]


class BlockModel(Strict):
    """Steps to be used more than once."""

    text: str = ""
    """What it is."""
    takes: tuple[Name, ...] = Field((), max_length=LIST_MAX)
    """Its parameters."""
    steps: Steps
    """Its steps; they see its parameters and $joint, nothing else."""


class SequenceModel(Strict):
    """The whole of a sequence file."""

    KIND = "sequence"

    sequence: Name
    """Its name."""
    text: str
    """What it is."""
    cell: str
    """Path of the cell, relative to this file."""
    joint: str
    """Path of the joint, relative to this file."""
    begins: Literal["joint_open", "joint_made_up"]
    """How the joint stands at the start."""
    values: dict[Name, Written] = Field(default_factory=dict)
    """Values by name, which a file based on this one may replace."""
    barriers: dict[Name, BarrierModel] = Field(default_factory=dict)
    """Where lanes meet."""
    points: dict[Name, PointModel] = Field(default_factory=dict)
    """Hold points and witness points by name."""
    prompts: dict[Name, PromptModel] = Field(default_factory=dict)
    """Questions to a person."""
    policies: dict[Name, Rules] = Field(default_factory=dict)
    """What follows which kind of fault."""
    otherwise: Then | None = None
    """What follows a fault that no policy of its step speaks of: hold, abort, or ask."""
    exceptions: dict[Name, ExceptionModel] = Field(default_factory=dict)
    """Named ways of moving while an interlock is active, each with its reason."""
    blocks: dict[Name, BlockModel] = Field(default_factory=dict)
    """Steps to be used more than once."""
    lanes: dict[Reference, Steps] = Field(min_length=1)
    """Who does what: a list of steps for each side and the hoist."""
    properties: dict[Name, PropertyModel] = Field(default_factory=dict, max_length=LIST_MAX)
    """What the proof is to hold this sequence to, beside what it holds every sequence to."""


class DerivedModel(Strict):
    """A sequence file that is another one with a joint, a cell or values of its own."""

    KIND = "sequence"

    sequence: Name
    """Its name."""
    text: str
    """What it makes or breaks, in a line."""
    based_on: str
    """The file of the whole sequence, beside or below this one."""
    cell: str | None = None
    """Another cell instead of the one that the whole sequence names."""
    joint: str | None = None
    """Another joint instead of the one that the whole sequence names."""
    values: dict[Name, Written] = Field(default_factory=dict)
    """Values of the whole sequence that are others here."""


EachStep.model_rebuild()
