"""Describe a case file: causes set in the simulated world, answers and acts of people.

Units: times microseconds; the parameters of a cause are judged by the catalogue of causes.
"""

from typing import Literal

from pydantic import ConfigDict, Field

from coordinator.sequence.models.fields import Duration, Instant, Name, Reference, Strict, Torque
from coordinator.sequence.models.sequence_model import AnswerWord

ActWord = Literal["start", "pause", "resume", "hold", "reset", "restart", "stop", "abort"]
WhenWord = Literal[
    "idle",
    "running",
    "pausing",
    "paused",
    "holding",
    "held",
    "restarting",
    "complete",
    "stopping",
    "stopped",
    "aborting",
    "aborted",
]


class CauseModel(Strict):
    """One cause; its own parameters stand beside the keys that every cause has."""

    model_config = ConfigDict(extra="allow")

    cause: Reference
    """Which of the catalogue."""
    side: Reference | None = None
    """Where; everywhere without it."""
    bolt: int | None = Field(None, ge=1)
    """At which bolt; at every one without it."""
    at: Instant | None = None
    """From when; from the start without it."""
    for_: Duration | None = Field(None, alias="for")
    """How long; to the end without it."""
    times: int | None = Field(None, ge=1)
    """How often it acts."""


class AnswerModel(Strict):
    """What a person answers when a prompt is asked; used once, in the order of the list."""

    prompt: Reference
    """The prompt that is answered."""
    answer: AnswerWord = Field(title="Answer")
    """What is answered."""
    after: Instant | None = None
    """How long after it was asked."""
    by: str = Field(min_length=1)
    """Who answers."""
    torque: Torque | None = None
    """The check torque of what was done by hand."""


class ActModel(Strict):
    """What an operator does, at a time or when the procedure gets into a state."""

    model_config = ConfigDict(
        json_schema_extra={
            "oneOf": [{"required": ["when"]}, {"required": ["at"]}],
            "dependentRequired": {"after": ["when"]},
        }
    )

    act: ActWord
    """What is done."""
    when: WhenWord | None = None
    """When the procedure gets into this state."""
    at: Instant | None = None
    """At this time since the start."""
    after: Instant | None = None
    """How long after `when`."""
    by: str = Field(min_length=1)
    """Who does it."""


class StepModel(Strict):
    """A person's word for the next step, given whenever a run outside automatic mode waits."""

    by: str = Field(min_length=1)
    """Who allows the step."""
    after: Instant | None = None
    """How long after the run began to wait for the word."""
    times: int | None = Field(None, ge=1)
    """How many words; one for every wait without it."""


class AnswersModel(Strict):
    """The people of a run: a file by itself, or part of a case."""

    KIND = "answers"

    answers: tuple[AnswerModel, ...] = ()
    """What people answer, each used once and in order."""
    acts: tuple[ActModel, ...] = ()
    """What operators do."""
    steps: tuple[StepModel, ...] = ()
    """Who allows steps outside automatic mode, in order; simulated parties only."""


class FoundModel(Strict):
    """What a campaign found with a case, and everything that is needed to find it again."""

    sequence: str = Field(min_length=1)
    """Path of the sequence below the sequences folder."""
    files: dict[str, str] = Field(default_factory=dict)
    """Every file that the sequence is made of, whole, by its path."""
    digest: str = ""
    """SHA-256 over those files."""
    program: str = ""
    """SHA-256 over the program that found it."""
    stretch: float = Field(1.0, gt=0, le=20)
    """Factor on all times of the link in that run."""
    is_whole: bool = False
    """Whether the run was followed to its very end."""
    ended: str = ""
    """How it ended: a state of the procedure, or `went_on`."""
    broken: tuple[str, ...] = ()
    """Which promises were broken, and at what kind of step; none where it must go well."""
    index: int = Field(0, ge=0)
    """Deliveries until then."""
    at: Instant = 0
    """When the run was over."""
    trace: str = ""
    """SHA-256 over the trace until then."""


class CaseModel(AnswersModel):
    """The whole of a case file."""

    KIND = "case"

    case: Name
    """Its name."""
    text: str = ""
    """What it is."""
    seed: int = Field(0, ge=0)
    """Where its chance starts from."""
    causes: tuple[CauseModel, ...] = ()
    """What is set in the simulated world."""
    found: FoundModel | None = None
    """What a campaign found with it."""
