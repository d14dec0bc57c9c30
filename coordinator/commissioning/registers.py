"""Draw up from a journal who set what aside, and who signed which hold or witness point.

Units: ``*_us`` whole microseconds since the run began; ``at`` is UTC, RFC 3339.
Invariants: CM21, every line of a register comes from an event that was decided on, never from a
refused word.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from coordinator.core.effects import Effect, Notify, RaisePrompt
from coordinator.core.events import Event, OverrideEnded, PromptAnswered
from coordinator.core.plan import NodeKind, Plan
from coordinator.core.state import State
from coordinator.wire.codec import to_time

Decided = tuple[Event, tuple[Effect, ...], State]
EXPIRED = "expired"
NOT_ENDED = "still in force at the end of the journal"


@dataclass(frozen=True, slots=True)
class Aside:
    """An interlock that a person set aside for a while."""

    run: str
    interlock: str
    who: str
    why: str
    began: str
    ended: str = ""
    ended_by: str = NOT_ENDED


@dataclass(frozen=True, slots=True)
class Signed:
    """A hold point that a person answered, or a witness point that was told."""

    run: str
    point: str
    kind: str
    side: str
    text: str
    wanted: str
    """Whose word is asked for, in the author's words."""
    who: str
    """Who answered; empty while nobody has, and at a witness point, which stops nobody."""
    answer: str
    at: str


@dataclass(slots=True)
class Registers:
    """Both lists of one journal."""

    asides: list[Aside] = field(default_factory=list)
    signed: list[Signed] = field(default_factory=list)


def registers_of(plan: Plan, run: str, origin_us: int, decided: Iterable[Decided]) -> Registers:
    """Return both lists of a run.

    Args:
        plan: Names everything.
        run: Its name.
        origin_us: When it began, on the cell's clock.
        decided: Every event with its effects and the state after it, in order.
    """
    made = Registers()
    open_asides: dict[int, int] = {}
    open_points: dict[int, int] = {}
    for event, effects, state in decided:
        at = to_time(origin_us + event.at_us)
        _follow_asides(made, plan, open_asides, event, state, when=(run, at))
        for effect in effects:
            if isinstance(effect, RaisePrompt) and plan.nodes[effect.node].kind is NodeKind.POINT:
                open_points[effect.number] = len(made.signed)
                made.signed.append(_hold_point(plan, effect, run, at))
            elif isinstance(effect, Notify) and effect.kind == "witness_point":
                made.signed.append(_witness_point(plan, effect, run, at))
        if isinstance(event, PromptAnswered) and event.prompt in open_points:
            is_taken = not any(one.number == event.prompt for one in state.prompts)
            if is_taken:
                place = open_points.pop(event.prompt)
                line = replace(made.signed[place], who=event.who, answer=event.option, at=at)
                made.signed[place] = line
    return made


def _follow_asides(
    made: Registers,
    plan: Plan,
    known: dict[int, int],
    event: Event,
    state: State,
    *,
    when: tuple[str, str],
) -> None:
    """Begin a line for every override that is new, end those that are gone."""
    run, at = when
    now = {one.interlock: one for one in state.overrides}
    for interlock, one in now.items():
        place = known.get(interlock)
        line = None if place is None else made.asides[place]
        if line is None or (line.who, line.why) != (one.who, one.why):
            if place is not None:
                made.asides[place] = replace(made.asides[place], ended=at, ended_by=one.who)
            known[interlock] = len(made.asides)
            name = plan.interlocks[interlock].name
            made.asides.append(Aside(run, name, one.who, one.why, at))
    for interlock in [one for one in known if one not in now]:
        by = event.who if isinstance(event, OverrideEnded) else EXPIRED
        place = known.pop(interlock)
        made.asides[place] = replace(made.asides[place], ended=at, ended_by=by)


def _hold_point(plan: Plan, effect: RaisePrompt, run: str, at: str) -> Signed:
    prompt = plan.prompts[effect.prompt]
    side = plan.parties[effect.party].name
    name = plan.nodes[effect.node].name
    return Signed(run, name, "hold", side, prompt.text, prompt.who, "", "", at)


def _witness_point(plan: Plan, effect: Notify, run: str, at: str) -> Signed:
    name, _, rest = effect.text.partition(", for ")
    wanted, _, text = rest.partition(": ")
    side = plan.parties[effect.party].name
    return Signed(run, name, "witness", side, text, wanted, "", "told; stops nobody", at)
