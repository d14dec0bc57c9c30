"""Say how every lane stands at the end of a counterexample: where, and what it waits for."""

from collections.abc import Iterator

from coordinator.core.pairing import waits_for_partner
from coordinator.core.plan import Plan
from coordinator.core.prompts import name_of, options_of
from coordinator.core.state import ENDED, Lane, OpenPrompt, Timer
from coordinator.core.turn import Turn
from coordinator.live.explain import LaneWords, explain
from coordinator.live.prompt_words import asked_words
from coordinator.prove.alone import owes_hold
from coordinator.prove.canonical import NOW_US
from coordinator.prove.monitors import Standing, Violation, happened_at

FLOOR = "floor and people"
_STILL_MAX = 6
"""Of what may still happen; more than this tells nobody anything."""


def standings_of(plan: Plan, found: Violation) -> tuple[Standing, ...]:
    """Return how each lane stands at the end, then floor and people; empty where it is not known.

    Args:
        plan: The plan.
        found: A counterexample, told to its end.
    """
    if found.end is None:
        return ()
    turn = Turn(plan, found.end, NOW_US)
    lanes = tuple(
        _of_lane(turn, place, words, is_silent=found.silent[place])
        for place, words in enumerate(explain(plan, found.end, NOW_US))
    )
    return (*lanes, _of_floor(turn, found))


def _of_lane(turn: Turn, place: int, words: LaneWords, *, is_silent: bool) -> Standing:
    lane = turn.lane(place)
    opened = [one for one in turn.state.prompts if one.lane == place]
    waits = [] if opened else list(words.unmet)  # What is asked is told better below.
    if is_silent:
        waits.append("an answer of its party, which says nothing")
    waits += [_asked(turn, one) for one in opened]
    if lane.rest.held and lane.watch.timer is Timer.READY:
        waits.append("its party to say that it is ready")
    if not lane.command and waits_for_partner(turn, place):
        waits.append("its partner of the pair to stand and be ready too")
    if lane.is_finished:
        return Standing(words.name, "is done with its lane", _unless_running(turn, waits))
    ahead = [node for node in turn.plan.lanes[place] if not lane.is_done(node)]
    node = lane.node if lane.node >= 0 else next(iter(ahead), -1)
    if node < 0:
        return Standing(words.name, "has nothing to do", tuple(waits))
    at = happened_at(turn.plan, node, "")
    state = _state(lane, words, at.step)
    if owes_hold(turn.state, lane):
        state = f"{state}, told to hold and not known to stand"
    return Standing(words.name, state, tuple(waits), node, at.step, at.place)


def heading_of(found: Violation) -> str:
    """Return what is said above how it stands."""
    if not found.later:
        return "how it stands at the end"
    things = "thing" if found.later == 1 else "things"
    return f"how it stands for good, {found.later} {things} later with no more going wrong"


def _unless_running(turn: Turn, waits: list[str]) -> tuple[str, ...]:
    """A lane that is done waits for nothing while the procedure runs."""
    return () if turn.state.phase in ("running", *ENDED) else tuple(waits)


def _state(lane: Lane, words: LaneWords, step: str) -> str:
    if words.doing:
        doing = words.doing.removesuffix(", told to hold")  # Said of all that are, below.
        return "at work" if doing == step else f"at work: {doing}"
    known = {
        "prompted": "stands, and a person is asked",
        "faulted": f"has failed ({lane.at.fault})" if lane.at.fault else "has failed",
        "interrupted": "was broken off and stands",
        "recovering": "is to make a move of its recovery",
    }
    return known.get(lane.phase, "waits")


def _asked(turn: Turn, opened: OpenPrompt) -> str:
    """Return what is asked, by its name and in its words, and what may be answered."""
    name, text = name_of(turn.plan, opened.prompt), asked_words(turn.plan, opened.prompt)
    options = ", ".join(options_of(turn, opened)) or "nothing"
    return f"an answer to prompt {opened.number}, {name}: '{text}'; may be answered: {options}"


def _of_floor(turn: Turn, found: Violation) -> Standing:
    state = turn.state
    reason = f": {state.reason}" if state.reason and state.phase != "running" else ""
    return Standing(FLOOR, f"the procedure is {state.phase}{reason}", tuple(_of_world(turn, found)))


def _of_world(turn: Turn, found: Violation) -> Iterator[str]:
    """Yield what is bad on the floor, what is latched, and what may still happen."""
    state = turn.state
    for signal, value in zip(turn.plan.signals, state.signals, strict=True):
        if value.value is not True:
            yield f"{signal.name} is bad"
    for interlock, is_latched in zip(turn.plan.interlocks, state.tripped, strict=True):
        if is_latched:
            yield f"{interlock.name} is latched"
    if state.phase not in ENDED:
        more = len(found.still) - _STILL_MAX
        said = "; ".join(found.still[:_STILL_MAX]) or "nothing, and nobody is asked"
        rest = f"; and {more} more" if more > 0 else ""
        yield f"with no more going wrong can still happen: {said}{rest}"
