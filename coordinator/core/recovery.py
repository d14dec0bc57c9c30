"""Decide what follows a fault that concerns one side alone: recover and retry, ask, hold, abort.

Invariants: R1, no more tries than the file allows; R2, what must not be tried again alone waits for
a person; R3, where a step's outcome is unknown, nothing moves without a person; R4, who is leaving
goes on leaving after a hold; R5, a rule that asks a person has a prompt to ask with.
"""

from coordinator.core.holds import begin_hold
from coordinator.core.plan import Exhausted, Move, Rule, ToolOn
from coordinator.core.prompts import CHECK_OWED, UNKNOWN_OUTCOME, raise_prompt
from coordinator.core.state import (
    BETWEEN,
    LEAVING,
    Lane,
    Pending,
    Recovering,
    Resting,
    StepPhase,
    Stopped,
    Then,
)
from coordinator.core.turn import InvariantViolation, Turn, require


def rule_for(turn: Turn, node: int, fault: str) -> Rule:
    """Return the step's rule for a kind of fault; unwritten ones hold at the first."""
    for rule in turn.node(node).rules:
        if rule.fault == fault:
            return rule
    return Rule(fault)


def may_retry(turn: Turn, lane: int) -> bool:
    """Tell whether the lane's fault may be retried without a person (R1)."""
    at_hand = turn.lane(lane)
    if check_failed(at_hand):
        return False
    rule = rule_for(turn, at_hand.node, at_hand.at.fault)
    return turn.failures(lane, at_hand.node, at_hand.at.fault) < rule.attempts


def recover(turn: Turn, lane: int, *, recheck: bool = False, then: Then | None = None) -> None:
    """Queue the moves that come before the next attempt, re-checks first.

    Args:
        turn: The turn.
        lane: One that stands with a fault, was interrupted, or has been answered about.
        recheck: It was held: what its step must check again comes first, not only what is owed.
        then: What follows the moves, if not the next attempt.
    """
    at_hand = turn.lane(lane)
    at = at_hand.at
    if not isinstance(at, Resting):
        raise InvariantViolation("R2", f"{turn.name(lane)} recovers while {at.phase}")
    if at.then in LEAVING:
        queue, then = rechecks(turn, lane) if recheck else at.queue, then or at.then
    else:
        checks = rechecks(turn, lane) if recheck else at_hand.owed
        rule = rule_for(turn, at_hand.node, at.fault) if at.fault else None
        queue, then = (*checks, *(rule.recover if rule else ())), then or Then.NEXT_ATTEMPT
    recovering = Recovering(StepPhase.RECOVERING, at.fault, at.evidence, queue, then)
    turn.step(lane, recovering, "recover")


def rechecks(turn: Turn, lane: int) -> tuple[Move, ...]:
    """Return what is checked again after a hold; who is leaving goes on leaving after it (R4)."""
    at_hand = turn.lane(lane)
    if at_hand.then in LEAVING:
        return with_acted(turn, lane, at_hand.queue, at_hand.node)
    own = (*at_hand.owed, *turn.node(at_hand.node).rechecks)
    return with_acted(turn, lane, tuple(dict.fromkeys(own)), at_hand.node)


def check_failed(lane: Lane) -> bool:
    """Tell whether a lane stands because what it owes could not be checked."""
    at = lane.at
    is_faulted = isinstance(at, Stopped) and at.phase is StepPhase.FAULTED and at.in_move
    return is_faulted and bool(lane.owed)


def must_ask(turn: Turn, lane: int) -> bool:
    """Tell whether a restart does not do for a lane: its fault, or what became of it, is open."""
    at_hand = turn.lane(lane)
    at = at_hand.at
    if not isinstance(at, Stopped):
        return False
    # A restart must not begin anew what may have been done (R3).
    if at.unknown:
        return True
    if at.phase is not StepPhase.FAULTED or may_retry(turn, lane):
        return False
    return rule_for(turn, at_hand.node, at.fault).then is not Exhausted.HOLD


def with_acted(turn: Turn, lane: int, moves: tuple[Move, ...], node: int) -> tuple[Move, ...]:
    """Return moves of an arm behind what it must check again for interlocks that have acted.

    Before the joint is looked at its tool comes off, and on again afterwards; who is leaving takes
    it off anyway.
    """
    # The hoist has no tool to check; what an interlock wants checked is about the arms.
    acted = turn.state.acted if turn.plan.parties[lane].is_arm else ()
    found = [move for index in acted for move in turn.plan.interlocks[index].rechecks]
    if not found:
        return moves
    if turn.lane(lane).then in LEAVING:
        return (*moves, *(move for move in dict.fromkeys(found) if move not in moves))
    off, on = turn.plan.tool_on.get(node, ToolOn())
    owed = (move for move in moves if move.is_check)
    # A check that is owed twice is made once; other moves are made as often as they are queued.
    checks = tuple(dict.fromkeys((*off, *found, *on, *owed)))
    return (*checks, *(move for move in moves if not move.is_check))


def start_over(turn: Turn, lane: int, at: Recovering) -> None:
    """Go on after the last queued move: as a person has said, or with the next attempt."""
    at_hand = turn.lane(lane)
    if at.then is Then.ASK:
        turn.put_at(lane, at._replace(then=Then.BACKED_OFF))
        exhaust(turn, lane)
        return
    if at.then is Then.ABORT:
        # The other side may still be lifting its tool off: an abort now would stop it half way.
        if not any(one.then and (one.queue or one.command) for one in turn.state.lanes):
            begin_hold(turn, "abort", f"{turn.node(at_hand.node).name}: left in order")
        return
    again_from = rule_for(turn, at_hand.node, at.fault).again_from if at.fault else -1
    done = at_hand.done
    # Undone only over its own lane: partners undo theirs when the pair goes back.
    if again_from >= 0:
        for node in turn.plan.lanes[lane]:
            if again_from <= node <= at_hand.node:
                done &= ~(1 << node)
    turn.step(lane, Pending(), "again", node=BETWEEN, done=done)


def exhaust(turn: Turn, lane: int) -> None:
    """Do what the rule says when the attempts are used up."""
    at_hand = turn.lane(lane)
    fault = at_hand.at.fault
    rule = rule_for(turn, at_hand.node, fault)
    words = f"{turn.node(at_hand.node).name}: {fault}"
    if at_hand.unknown:
        raise_prompt(turn, lane, UNKNOWN_OUTCOME)
    elif check_failed(at_hand):
        raise_prompt(turn, lane, CHECK_OWED)
    elif rule.then is Exhausted.ASK:
        require(rule.prompt >= 0, "R5", f"rule for {rule.fault} asks without a prompt")
        raise_prompt(turn, lane, rule.prompt)
    elif rule.then is Exhausted.ABORT:
        begin_hold(turn, "abort", words)
    else:
        begin_hold(turn, "hold", words)


def resolve(turn: Turn, lane: int) -> None:
    """Decide about a faulted lane that is not inside a paired span."""
    if may_retry(turn, lane):
        recover(turn, lane)
    else:
        exhaust(turn, lane)
