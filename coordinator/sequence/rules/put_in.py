"""Follow what is put into the joint, such as covers and pins, through steps and recoveries.

No recovery leaves out what must stay in until a later step takes it out.

Invariants: SQ16, what is put into the joint comes out again, and nothing is taken out that is not
in.
"""

from collections.abc import Mapping

from coordinator.core.plan import Move, Rule, Value
from coordinator.sequence.compiler.expand import Input
from coordinator.sequence.compiler.nodes import Built
from coordinator.sequence.form.tree import Trail
from coordinator.sequence.models.cell_model import ActionModel
from coordinator.sequence.models.cell_model import ParameterKind as Kind
from coordinator.sequence.models.sequence_model import DoStep
from coordinator.sequence.rules.ahead import Ahead

_Thing = tuple[str, Value | None]


def check_put_in(given: Input, built: tuple[Built, ...], ahead: Ahead) -> None:
    """Tell of what is left in, taken out without being in, or lost by a recovery."""
    joint = _Joint(built, ahead)
    for one in built:
        _check_left_in(given, joint, one)
        _check_taken_out(given, joint, one)
        for rule in one.node.rules:
            if rule.recover:
                _check_recovery(given, joint, one, rule)


class _Joint:
    """What is in the joint at each step."""

    def __init__(self, built: tuple[Built, ...], ahead: Ahead) -> None:
        self.built = built
        self.ahead = ahead
        self.puts: dict[_Thing, list[int]] = {}
        self.takes: dict[_Thing, list[int]] = {}
        for one in built:
            for thing, is_put in _effects(one.action, one.values).items():
                (self.puts if is_put else self.takes).setdefault(thing, []).append(one.index)

    def is_in(self, thing: _Thing, at: int) -> bool:
        """Return whether a thing is in whenever a step begins."""
        before = self.ahead.is_before
        taken = self.takes.get(thing, [])
        return any(
            before(put, at) and not any(before(put, take) and before(take, at) for take in taken)
            for put in self.puts.get(thing, [])
        )

    def redone(self, one: Built, rule: Rule) -> tuple[Built, ...]:
        """Return the steps that are done again after a recovery."""
        first = one.index if rule.again_from < 0 else rule.again_from
        lane = one.item.lane
        return tuple(
            step
            for step in self.built
            if step.item.lane == lane and first <= step.index <= one.index
        )


def _effects(action: ActionModel, values: Mapping[str, Value]) -> dict[_Thing, bool]:
    """Return what an action puts in (True) and takes out (False), for the bolt that it is about."""
    parameter = action.first_of(Kind.BOLT)
    place = None if parameter is None else values.get(parameter)
    named = ((action.takes_out, False), (action.puts_in, True))
    return {(name, place): is_put for name, is_put in named if name is not None}


def _said(thing: _Thing) -> str:
    name, place = thing
    return f"{name} in hole {place}" if place is not None else name


def _check_left_in(given: Input, joint: _Joint, one: Built) -> None:
    for thing, is_put in _effects(one.action, one.values).items():
        takes = joint.takes.get(thing, [])
        if not is_put or any(joint.ahead.is_before(one.index, take) for take in takes):
            continue
        what, must = f"{_said(thing)} is put in and left", "must be taken out by a later step"
        do = (
            f"add the action that takes the {thing[0]} out, after a barrier if another lane does it"
        )
        given.tell((*one.item.trail, "do"), "SEQ070", what, must, do)


def _check_taken_out(given: Input, joint: _Joint, one: Built) -> None:
    if len(one.values) < len(one.action.takes):
        return  # Of what was told to be wrong nobody knows which hole was meant.
    for thing, is_put in _effects(one.action, one.values).items():
        if is_put or joint.is_in(thing, one.index):
            continue
        what = f"{_said(thing)} is taken out by {one.node.name!r} and is not in"
        must = "must be put in by an earlier step, and not taken out since"
        do = f"add the action that puts the {thing[0]} in, before a barrier if another lane does it"
        given.tell((*one.item.trail, "do"), "SEQ080", what, must, do)


def _check_recovery(given: Input, joint: _Joint, one: Built, rule: Rule) -> None:
    """Judge what a recovery leaves in and out, beside what the step by itself would have left."""
    own = _effects(one.action, one.values)
    now: dict[_Thing, bool] = {}
    last: dict[_Thing, int] = {}
    for place, move in enumerate(rule.recover):
        for thing, is_put in _effects_of(given, move).items():
            # Of what the step itself was about to change nobody knows how far it came.
            was_in = now.get(thing, thing in own or joint.is_in(thing, one.index))
            if not is_put and not was_in:
                what = f"recovery of {one.node.name!r} takes {_said(thing)} out, which is not in"
                must, do = "must be in by then", "take the move out, or put it in before"
                given.tell(_trail(one, rule, place), "SEQ080", what, must, do)
                return
            now[thing], last[thing] = is_put, place
    for step in joint.redone(one, rule):
        now |= _effects(step.action, step.values)
    for thing, place in last.items():
        must_be_in = own.get(thing, joint.is_in(thing, one.index))
        if now[thing] != must_be_in:
            _tell_lost(given, one, thing, _trail(one, rule, place), must_be_in=must_be_in)


def _tell_lost(given: Input, one: Built, thing: _Thing, trail: Trail, *, must_be_in: bool) -> None:
    what = f"recovery of {one.node.name!r} "
    if must_be_in:
        what += f"takes {_said(thing)} out, and nothing puts it in again"
        must = "must be in until a later step takes it out"
        do = "put it in again by the recovery, or go back with 'again_from' to the step that does"
        given.tell(trail, "SEQ080", what, must, do)
        return
    what += f"puts {_said(thing)} in and leaves it"
    must, do = "must be taken out again", "take it out by the same recovery"
    given.tell(trail, "SEQ070", what, must, do)


def _effects_of(given: Input, move: Move) -> dict[_Thing, bool]:
    action, values = given.cell.actions[move.action], dict(move.parameters)
    # A move that lacks a parameter was told already; nobody knows which hole it means.
    return _effects(action, values) if len(values) == len(action.takes) else {}


def _trail(one: Built, rule: Rule, place: int) -> Trail:
    policy = one.item.step.policy if isinstance(one.item.step, DoStep) else None
    return ("policies", policy or "", rule.fault, "recover", place, "do")
