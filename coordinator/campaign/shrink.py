"""Make a failing case small: the fewest causes, the least time, and the same promise broken.

Units: ``*_us`` whole microseconds since the run began.
Source: A. Zeller, R. Hildebrandt, Simplifying and Isolating Failure-Inducing Input, 2002, for
leaving out part after part until nothing more can go.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import islice

from coordinator.campaign.running import Outcome
from coordinator.sequence import Case, CaseCause

TRIES_MAX = 150
"""Chosen: a few seconds of work; most cases need thirty."""
BRIEF_US = 50_000
"""No cause is made shorter than this."""

Attempt = Callable[[Case], Outcome]


@dataclass(frozen=True, slots=True)
class Shrunk:
    """A failing case made small, and what came of it from the very beginning."""

    case: Case
    outcome: Outcome
    tries: int
    causes_before: int


@dataclass(frozen=True, slots=True)
class Shrinking:
    """How far a case was made smaller."""

    case: Case
    signature: str
    """What must stay the same: the promise broken first, and where."""
    tries: int = 0
    place: int = 0
    """Which of the candidates of the case is tried next."""
    is_done: bool = False


def shrink(case: Case, attempt: Attempt, signature: str) -> tuple[Case, int]:
    """Return the smallest case found that still fails alike, and how many were tried.

    Args:
        case: As it failed.
        attempt: Runs a case.
        signature: What must stay the same: the promise broken first, and where.
    """
    state = shrink_on(Shrinking(case, signature), attempt, TRIES_MAX)
    return state.case, state.tries


def shrink_on(state: Shrinking, attempt: Attempt, tries: int) -> Shrinking:
    """Go on with making a case smaller, for at most so many tries.

    In however many parts it is done, it comes to the same.
    """
    for _ in range(tries):
        smaller = next(islice(candidates(state.case), state.place, None), None)
        if smaller is None or state.tries >= TRIES_MAX:
            return replace(state, is_done=True)
        state = replace(state, tries=state.tries + 1, place=state.place + 1)
        if attempt(smaller).signature == state.signature:
            state = replace(state, case=smaller, place=0)
    return state


def candidates(case: Case) -> Iterator[Case]:
    """Yield what is a little smaller, the greatest step first."""
    for index in range(len(case.causes)):
        yield replace(case, causes=_without(case.causes, index))
    if case.answers:
        yield replace(case, answers=())
    if case.acts:
        yield replace(case, acts=())
        for index in range(len(case.acts)):
            yield replace(case, acts=case.acts[:index] + case.acts[index + 1 :])
    for index in range(len(case.answers)):
        yield replace(case, answers=case.answers[:index] + case.answers[index + 1 :])
    for index, cause in enumerate(case.causes):
        for smaller in _smaller(cause):
            yield replace(case, causes=_put(case.causes, index, smaller))
    for index in range(1, len(case.causes)):
        gap_us = (case.causes[index].at_us or 0) - (case.causes[0].at_us or 0)
        if gap_us > BRIEF_US:
            nearer = replace(case.causes[index], at_us=(case.causes[0].at_us or 0) + gap_us // 2)
            yield replace(case, causes=_put(case.causes, index, nearer))


def _smaller(cause: CaseCause) -> Iterator[CaseCause]:
    if cause.for_us is not None and cause.for_us > 2 * BRIEF_US:
        yield replace(cause, for_us=max(BRIEF_US, cause.for_us // 8))
        yield replace(cause, for_us=cause.for_us // 2)
    if cause.parameters:
        yield replace(cause, parameters=())


def _without(causes: tuple[CaseCause, ...], index: int) -> tuple[CaseCause, ...]:
    return causes[:index] + causes[index + 1 :]


def _put(causes: tuple[CaseCause, ...], index: int, cause: CaseCause) -> tuple[CaseCause, ...]:
    return (*causes[:index], cause, *causes[index + 1 :])
