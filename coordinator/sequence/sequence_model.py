"""Describe a sequence file: lanes of steps, the barriers they meet at, and what follows a fault.

Units: times microseconds, torque newton metre.
Keeps: a step is exactly one of do, use, each and barrier.
"""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, Discriminator, Field, Tag

from coordinator.sequence.cell_model import HoldWord
from coordinator.sequence.fields import Duration, Name, Reference, Strict, Written

STEP_KEYS = ("do", "use", "each", "barrier", "point")
LIST_MAX = 64
"""Chosen: twice the bolts of the largest joint; what stands at one step has a bound."""

Parameters = Annotated[dict[str, Written], Field(max_length=LIST_MAX)]
References = Annotated[tuple[Reference, ...], Field(max_length=LIST_MAX)]
AnswerWord = Literal["again", "release", "hold", "abort"]
_RELEASE: dict[AnswerWord, str] = {
    "release": "goes on from here",
    "hold": "holds both arms; after a restart the point is asked about again",
    "abort": "ends the procedure where it stands",
}


class BarrierModel(Strict):
    """A meeting of lanes; with `paired_until` it opens a paired span."""

    text: str = ""
    timeout: Duration = 120_000_000
    window: Duration = 50_000
    paired_until: Reference | None = None
    balance: Written | None = None
    """A torque, or a reference to one of the joint."""
    stop: Duration | None = None


class PromptModel(Strict):
    """A question to a person about a fault."""

    text: str
    caution: str
    who: str = ""
    """Whose answer is asked for, in the author's words."""
    options: dict[AnswerWord, str] = Field(min_length=1)


class PointModel(Strict):
    """A hold point, which a person must release, or a witness point, which is told and passed."""

    kind: Literal["hold", "witness"]
    who: str
    text: str
    caution: str = ""
    options: dict[AnswerWord, str] = Field(default_factory=lambda: dict(_RELEASE))


class AskModel(Strict):
    """Ask a person, with this prompt."""

    ask: Reference


class MoveModel(Strict):
    """A move of a recovery; what it is not given it takes from the step."""

    do: Reference
    with_: Parameters = Field(default_factory=dict, alias="with")


def _then_tag(value: Any) -> str:
    return ":ask" if isinstance(value, dict | AskModel) else ":word"


Then = Annotated[
    Annotated[Literal["hold", "abort"], Tag(":word")] | Annotated[AskModel, Tag(":ask")],
    Discriminator(_then_tag),
]


class RuleModel(Strict):
    """What a step does about one kind of fault."""

    attempts: int = 1
    recover: tuple[MoveModel, ...] = Field((), max_length=LIST_MAX)
    again_from: Reference | None = None
    then: Then = "hold"


Rules = Annotated[dict[Reference, RuleModel], Field(max_length=LIST_MAX)]
"""What follows each kind of fault."""


class ExceptionModel(Strict):
    """A named way of moving all the same while an interlock is active."""

    interlock: Reference
    reason: str = ""


class DoStep(Strict):
    """One action of the lane's party."""

    do: Reference
    with_: Parameters = Field(default_factory=dict, alias="with")
    id: Name | None = None
    after: References | None = None
    policy: Reference | None = None
    expect: dict[str, tuple[Written, Written]] = Field(default_factory=dict, max_length=LIST_MAX)
    round: Written | None = None
    timeout: Duration | None = None
    no_progress: Duration | None = None
    on_hold: HoldWord | None = None
    recheck: References | None = None
    permissives: References = ()
    exceptions: References = ()


class UseStep(Strict):
    """A block, with its parameters."""

    use: Reference
    with_: Parameters = Field(default_factory=dict, alias="with")
    exceptions: References = ()


class EachStep(Strict):
    """A loop over the joint: this side's bolts, the opposite pairs, or the rounds."""

    each: Literal["own_bolt", "pair", "round"]
    only: tuple[Written, ...] | None = None
    """The bolts, or the numbers of rounds, that the loop keeps to."""
    steps: "Steps"
    exceptions: References = ()


class BarrierStep(Strict):
    """The lane's place in a barrier."""

    barrier: Reference


class PointStep(Strict):
    """The lane's place at a hold point or a witness point."""

    point: Reference
    id: Name | None = None
    after: tuple[Reference, ...] | None = None


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
    takes: tuple[Name, ...] = Field((), max_length=LIST_MAX)
    steps: Steps


class SequenceModel(Strict):
    """The whole of a sequence file."""

    sequence: Name
    text: str
    cell: str
    joint: str
    begins: Literal["joint_open", "joint_made_up"]
    values: dict[Name, Written] = Field(default_factory=dict)
    barriers: dict[Name, BarrierModel] = Field(default_factory=dict)
    points: dict[Name, PointModel] = Field(default_factory=dict)
    prompts: dict[Name, PromptModel] = Field(default_factory=dict)
    policies: dict[Name, Rules] = Field(default_factory=dict)
    exceptions: dict[Name, ExceptionModel] = Field(default_factory=dict)
    blocks: dict[Name, BlockModel] = Field(default_factory=dict)
    lanes: dict[Reference, Steps] = Field(min_length=1)


class DerivedModel(Strict):
    """A sequence file that is another one with a joint, a cell or values of its own."""

    sequence: Name
    text: str
    based_on: str
    cell: str | None = None
    joint: str | None = None
    values: dict[Name, Written] = Field(default_factory=dict)


EachStep.model_rebuild()
