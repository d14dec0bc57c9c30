"""Raise questions to a person and take them back.

Invariants: P1, nothing moves for a side that waits for an answer; P2, a question is taken back once
its situation has changed or everybody is told to hold; P6, an answer counts once, and only that of
the prompt's owner.
"""

from typing import Literal, assert_never

from coordinator.core.effects import RaisePrompt, WithdrawPrompt
from coordinator.core.plan import Option, Plan
from coordinator.core.state import (
    BETWEEN,
    LEAVING,
    Asked,
    Commanded,
    CoreFault,
    OpenPrompt,
    Pending,
    Recovering,
    Situation,
    StepPhase,
    Stopped,
    Then,
)
from coordinator.core.turn import InvariantViolation, Turn

UNKNOWN_OUTCOME = -1
"""The built-in question: nobody knows what became of a command."""
CHECK_OWED = -2
"""The built-in question: what is to be checked again could not be."""
BUILT_IN = {UNKNOWN_OUTCOME: "unknown_outcome", CHECK_OWED: "check_owed"}
"""What people and scripts call the questions that no file asks."""
_BUILT_IN_OPTIONS = {
    UNKNOWN_OUTCOME: (Option.AGAIN, Option.BY_HAND, Option.ABORT),
    # None says that it was checked: only a way out of the joint gets the tool off first.
    CHECK_OWED: (Option.AGAIN, Option.BACK_A_ROUND, Option.LEAVE, Option.HOLD, Option.ABORT),
}
_OF_THE_STEP = (Option.BACK_OFF, Option.BY_HAND, Option.REPLACE_BOLT, Option.BACK_A_ROUND)
"""What may be answered about a step, and not of a side on its way out, which does it no more."""


def name_of(plan: Plan, prompt: int) -> str:
    """Return what people and scripts call a question."""
    return BUILT_IN.get(prompt) or plan.prompts[prompt].name


def options_of(turn: Turn, opened: OpenPrompt) -> tuple[str, ...]:
    """Return what a person may answer: what is offered, where it applies."""
    if opened.prompt in BUILT_IN:
        offered = _BUILT_IN_OPTIONS[opened.prompt]
    else:
        offered = tuple(option for option, _ in turn.plan.prompts[opened.prompt].options)
    return tuple(option.value for option in offered if _applies(turn, opened, option))


def _applies(turn: Turn, opened: OpenPrompt, option: Option) -> bool:
    """Tell whether an option can be carried out: one that cannot is never offered."""
    node, then = turn.node(opened.node), turn.lane(opened.lane).then
    if then in LEAVING and option in _OF_THE_STEP:
        return False
    match option:
        case Option.BACK_OFF:
            has_moves = any(rule.fault == opened.fault and rule.recover for rule in node.rules)
            return has_moves and then is not Then.BACKED_OFF
        case Option.BY_HAND:
            if node.move is None or node.barrier >= 0:
                return False
            # Where an arm stands only its own moves can tell: no zone is left by hand (Z2).
            zones = enumerate(turn.state.zones)
            return all(zone == node.move.zone for zone, lane in zones if lane == opened.lane)
        case Option.REPLACE_BOLT | Option.BACK_A_ROUND:
            return node.span >= 0 and turn.plan.round_of[opened.node] is not None
        case Option.LEAVE:
            return bool(node.leave)
        case Option.AGAIN | Option.RELEASE | Option.HOLD | Option.ABORT:
            return True
    assert_never(option)


def raise_prompt(turn: Turn, lane: int, prompt: int, fault: str | None = None) -> None:
    """Ask a person about the fault of a lane, or another that is given; the lane waits."""
    number = turn.state.prompt + 1
    at_hand = turn.lane(lane)
    asked = _asked(at_hand.at, number)
    asked = asked if fault is None else asked._replace(fault=fault)
    turn.step(lane, asked, "ask")
    told = CoreFault.CHECK_OWED if prompt == CHECK_OWED else asked.fault
    opened = OpenPrompt(number, prompt, lane, at_hand.node, told)
    turn.change(prompt=number, prompts=(*turn.state.prompts, opened))
    # How often it was tried decides for many whether to try again: it is told with the rest.
    tried = float(turn.failures(lane, at_hand.node, asked.fault))
    evidence = (*asked.evidence, ("attempts", tried)) if tried else asked.evidence
    owner = turn.plan.prompts[prompt].who if prompt >= 0 else ""
    options = options_of(turn, opened)
    turn.emit(RaisePrompt(number, prompt, lane, at_hand.node, told, options, evidence, owner))


def _asked(at: Situation, number: int) -> Asked:
    """Return what a lane is once a person is asked, with all that still counts afterwards."""
    match at:
        case Pending() | Commanded():
            return Asked(StepPhase.PROMPTED, number, at.fault, at.evidence)
        case Recovering() | Asked():
            return Asked(StepPhase.PROMPTED, number, at.fault, at.evidence, at.queue, at.then)
        case Stopped():
            # The rest of a recovery that was broken off begins anew; of who leaves, it goes on.
            is_kept = at.then in LEAVING
            queue = at.queue if is_kept else tuple(move for move in at.queue if move.is_check)
            return Asked(
                StepPhase.PROMPTED, number, at.fault, at.evidence, queue, at.then, at.unknown
            )
    assert_never(at)


def reach_point(turn: Turn, lane: int) -> None:
    """A lane has come to a hold point, where a person is asked, or to a witness point."""
    node = turn.node(turn.lane(lane).node)
    if not node.is_witness:
        raise_prompt(turn, lane, node.prompt, CoreFault.HOLD_POINT)
        return
    told = turn.plan.prompts[node.prompt]
    turn.notify("note", "witness_point", f"{node.name}, for {told.who}: {told.text}", party=lane)
    pass_point(turn, lane)


def pass_point(turn: Turn, lane: int) -> None:
    """Leave a point behind: it was told, or a person has released it."""
    done = turn.lane(lane).done | 1 << turn.lane(lane).node
    turn.step(lane, Pending(), "again", node=BETWEEN, done=done)


def asked_at(turn: Turn, lane: int) -> Asked:
    """Return the situation of a lane about which a person is or was asked."""
    at = turn.lane(lane).at
    if isinstance(at, Asked):
        return at
    raise InvariantViolation("P6", f"{turn.name(lane)} is {at.phase}: nobody was asked about it")


def close_prompt(turn: Turn, opened: OpenPrompt) -> None:
    """Forget an open prompt; its lane is left to the caller."""
    turn.change(prompts=tuple(p for p in turn.state.prompts if p.number != opened.number))
    turn.put_at(opened.lane, asked_at(turn, opened.lane)._replace(prompt=0))


def withdraw(turn: Turn, lane: int) -> None:
    """Leave a lane with its fault, as it was before a person was asked."""
    at = asked_at(turn, lane)
    phase: Literal[StepPhase.FAULTED] = StepPhase.FAULTED
    stopped = Stopped(phase, at.fault, at.evidence, at.queue, at.then, at.unknown)
    turn.step(lane, stopped, "withdraw")


def withdraw_all(turn: Turn, reason: str) -> None:
    """Take back every open prompt, since the situation has changed; the faults stay."""
    for opened in turn.state.prompts:
        close_prompt(turn, opened)
        withdraw(turn, opened.lane)
        turn.emit(WithdrawPrompt(opened.number, reason))
        text = f"prompt {opened.number} had no answer, withdrawn: {reason}"
        turn.notify("note", "unanswered", text, party=opened.lane, node=opened.node)
