"""Describe a case file: causes set in the simulated world, answers and acts of people.

Units: times microseconds; the parameters of a cause are judged by the catalogue of causes.
"""

from typing import Literal

from pydantic import ConfigDict, Field

from coordinator.sequence.fields import Duration, Instant, Name, Reference, Strict

AnswerWord = Literal["again", "release", "hold", "abort"]
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
    side: Reference | None = None
    bolt: int | None = Field(None, ge=1)
    at: Instant | None = None
    for_: Duration | None = Field(None, alias="for")
    times: int | None = Field(None, ge=1)


class AnswerModel(Strict):
    """What a person answers when a prompt is asked; used once, in the order of the list."""

    prompt: Reference
    answer: AnswerWord
    by: str = Field(min_length=1)


class ActModel(Strict):
    """What an operator does, at a time or when the procedure gets into a state."""

    act: ActWord
    when: WhenWord | None = None
    at: Instant | None = None
    after: Instant | None = None
    by: str = Field(min_length=1)


class AnswersModel(Strict):
    """The people of a run: a file by itself, or part of a case."""

    answers: tuple[AnswerModel, ...] = ()
    acts: tuple[ActModel, ...] = ()


class CaseModel(AnswersModel):
    """The whole of a case file."""

    case: Name
    text: str = ""
    seed: int = Field(0, ge=0)
    causes: tuple[CauseModel, ...] = ()
