"""Raise questions to a person and take them back.

Keeps: P1, an answer counts once; P2, a changed situation withdraws the prompt; P3, no answer moves
nothing.
"""

from coordinator.core.effects import RaisePrompt, WithdrawPrompt
from coordinator.core.plan import Option
from coordinator.core.state import BETWEEN, OpenPrompt
from coordinator.core.turn import Turn

UNKNOWN_OUTCOME = -1
"""The built-in question: nobody knows what became of a command."""
HOLD_POINT = "hold_point"
"""Stands for the fault while a lane waits at a hold point."""
_UNKNOWN_OPTIONS = (Option.AGAIN.value, Option.ABORT.value)


def options_of(turn: Turn, prompt: int) -> tuple[str, ...]:
    """Return what a person may answer to a kind of prompt."""
    if prompt == UNKNOWN_OUTCOME:
        return _UNKNOWN_OPTIONS
    return tuple(option.value for option, _ in turn.plan.prompts[prompt].options)


def raise_prompt(turn: Turn, lane: int, prompt: int) -> None:
    """Ask a person about the fault of a lane; the lane waits."""
    number = turn.state.prompt + 1
    at_hand = turn.lane(lane)
    turn.step(lane, "ask", prompt=number)
    opened = OpenPrompt(number, prompt, lane, at_hand.node, at_hand.fault)
    turn.change(prompt=number, prompts=(*turn.state.prompts, opened))
    turn.emit(
        RaisePrompt(number, prompt, lane, at_hand.node, at_hand.fault, options_of(turn, prompt))
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
