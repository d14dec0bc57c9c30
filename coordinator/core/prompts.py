"""Raise questions to a person and take them back.

Invariants: P1, nothing moves for a side that waits for an answer; P2, a question is taken back once
its situation has changed or everybody is told to hold; P6, an answer counts once, and only that of
the prompt's owner.
"""

from coordinator.core.effects import RaisePrompt, WithdrawPrompt
from coordinator.core.plan import Option
from coordinator.core.state import BETWEEN, OpenPrompt
from coordinator.core.turn import Turn

UNKNOWN_OUTCOME = -1
"""The built-in question: nobody knows what became of a command."""
LEAVING = ("abort", "back")
"""What follows the moves of a lane that a person has sent away: a hold does not undo it (R4)."""
BACKED_OFF = "backed_off"
"""What a lane is after the moves of its recovery, while a person is asked again."""
HOLD_POINT = "hold_point"
"""Stands for the fault while a lane waits at a hold point."""
_UNKNOWN_OPTIONS = (Option.AGAIN, Option.BY_HAND, Option.ABORT)
_OF_THE_STEP = (Option.BACK_OFF, Option.BY_HAND, Option.REPLACE_BOLT, Option.BACK_A_ROUND)
"""What may be answered about a step, and not of a side on its way out, which does it no more."""


def options_of(turn: Turn, opened: OpenPrompt) -> tuple[str, ...]:
    """Return what a person may answer: what is offered, where it applies."""
    offered: tuple[Option, ...] = _UNKNOWN_OPTIONS
    if opened.prompt != UNKNOWN_OUTCOME:
        offered = tuple(option for option, _ in turn.plan.prompts[opened.prompt].options)
    return tuple(option.value for option in offered if _applies(turn, opened, option))


def _applies(turn: Turn, opened: OpenPrompt, option: Option) -> bool:
    node = turn.node(opened.node)
    if turn.lane(opened.lane).then in LEAVING and option in _OF_THE_STEP:
        return False
    if option is Option.BACK_OFF:
        if turn.lane(opened.lane).then == BACKED_OFF:
            return False
        return any(rule.fault == opened.fault and rule.recover for rule in node.rules)
    if option is Option.BY_HAND:
        if node.move is None or node.barrier >= 0:
            return False
        # Where an arm stands only its own moves can tell: no zone is left by hand (Z2).
        zones = enumerate(turn.state.zones)
        return all(zone == node.move.zone for zone, lane in zones if lane == opened.lane)
    if option in (Option.REPLACE_BOLT, Option.BACK_A_ROUND):
        return node.span >= 0 and "round" in dict(node.loops)
    return option is not Option.LEAVE or bool(node.leave)


def raise_prompt(turn: Turn, lane: int, prompt: int) -> None:
    """Ask a person about the fault of a lane; the lane waits."""
    number = turn.state.prompt + 1
    at_hand = turn.lane(lane)
    turn.step(lane, "ask", prompt=number)
    opened = OpenPrompt(number, prompt, lane, at_hand.node, at_hand.fault)
    turn.change(prompt=number, prompts=(*turn.state.prompts, opened))
    tried = float(turn.counted(lane, at_hand.node, at_hand.fault))
    evidence = (*at_hand.evidence, ("attempts", tried)) if tried else at_hand.evidence
    owner = turn.plan.prompts[prompt].who if prompt >= 0 else ""
    options = options_of(turn, opened)
    turn.emit(
        RaisePrompt(number, prompt, lane, at_hand.node, at_hand.fault, options, evidence, owner)
    )


def reach_point(turn: Turn, lane: int) -> None:
    """A lane has come to a hold point, where a person is asked, or to a witness point."""
    node = turn.node(turn.lane(lane).node)
    if not node.is_witness:
        turn.put(lane, fault=HOLD_POINT)
        raise_prompt(turn, lane, node.prompt)
        return
    told = turn.plan.prompts[node.prompt]
    turn.notify("note", "witness_point", f"{node.name}, for {told.who}: {told.text}", party=lane)
    pass_point(turn, lane)


def pass_point(turn: Turn, lane: int) -> None:
    """Leave a point behind: it was told, or a person has released it."""
    done = turn.lane(lane).done | 1 << turn.lane(lane).node
    turn.step(lane, "again", node=BETWEEN, done=done, fault="")


def close_prompt(turn: Turn, opened: OpenPrompt) -> None:
    """Forget an open prompt; its lane is left to the caller."""
    turn.change(prompts=tuple(p for p in turn.state.prompts if p.number != opened.number))
    turn.put(opened.lane, prompt=0)


def withdraw_all(turn: Turn, reason: str) -> None:
    """Take back every open prompt, since the situation has changed; the faults stay."""
    for opened in turn.state.prompts:
        close_prompt(turn, opened)
        turn.step(opened.lane, "withdraw")
        turn.emit(WithdrawPrompt(opened.number, reason))
        text = f"prompt {opened.number} had no answer, withdrawn: {reason}"
        turn.notify("note", "unanswered", text, party=opened.lane, node=opened.node)
