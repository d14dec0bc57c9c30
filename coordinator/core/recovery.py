"""Decide what follows a fault that concerns one side alone: recover and retry, ask, hold, abort.

Invariants: R1, no more tries than the file allows; R2, what must not be tried again alone waits for
a person; R3, where a step's outcome is unknown, nothing moves without a person; R4, who is leaving
goes on leaving after a hold; R5, a rule that asks a person has a prompt to ask with.
"""

from coordinator.core.holds import begin_hold
from coordinator.core.plan import Exhausted, Move, Rule
from coordinator.core.prompts import BACKED_OFF, LEAVING, UNKNOWN_OUTCOME, raise_prompt
from coordinator.core.state import BETWEEN, Doing
from coordinator.core.turn import Turn, require


def rule_for(turn: Turn, node: int, fault: str) -> Rule:
    """Return the step's rule for a kind of fault; unwritten ones hold at the first."""
    for rule in turn.node(node).rules:
        if rule.fault == fault:
            return rule
    return Rule(fault)


def may_retry(turn: Turn, lane: int) -> bool:
    """Tell whether the lane's fault may be retried without a person (R1)."""
    at_hand = turn.lane(lane)
    rule = rule_for(turn, at_hand.node, at_hand.fault)
    return turn.counted(lane, at_hand.node, at_hand.fault) < rule.attempts


def recover(turn: Turn, lane: int, *, recheck: bool = False) -> None:
    """Queue the moves that come before the next attempt, re-checks first."""
    at_hand = turn.lane(lane)
    checks = rechecks(turn, lane) if recheck else checks_due(turn, lane)
    if at_hand.then in LEAVING:
        turn.step(lane, "recover", queue=checks or at_hand.queue)
        return
    moves = rule_for(turn, at_hand.node, at_hand.fault).recover if at_hand.fault else ()
    turn.step(lane, "recover", queue=(*checks, *moves), doing=Doing.STEP, then="")


def rechecks(turn: Turn, lane: int) -> tuple[Move, ...]:
    """Return what is checked again after a hold; who is leaving goes on leaving after it (R4)."""
    at_hand = turn.lane(lane)
    own = at_hand.queue if at_hand.then in LEAVING else turn.node(at_hand.node).rechecks
    return (*acted_moves(turn, lane), *own)


def checks_due(turn: Turn, lane: int) -> tuple[Move, ...]:
    """Return the re-checks that a lane still owes, since a person was asked about it first."""
    return turn.lane(lane).queue if turn.lane(lane).doing is Doing.STEP else ()


def must_ask(turn: Turn, lane: int) -> bool:
    """Tell whether a restart does not do for a lane: its fault, or what became of it, is open."""
    at_hand = turn.lane(lane)
    if at_hand.unknown:
        return at_hand.phase in ("faulted", "interrupted")
    if at_hand.phase != "faulted" or may_retry(turn, lane):
        return False
    return rule_for(turn, at_hand.node, at_hand.fault).then is not Exhausted.HOLD


def acted_moves(turn: Turn, lane: int) -> tuple[Move, ...]:
    """Return what an arm must check again for the interlocks that have acted."""
    if not turn.plan.parties[lane].is_arm:
        return ()
    found = [move for index in turn.state.acted for move in turn.plan.interlocks[index].rechecks]
    return tuple(dict.fromkeys(found))


def start_over(turn: Turn, lane: int) -> None:
    """Begin the next attempt, where the rule says it begins."""
    at_hand = turn.lane(lane)
    if at_hand.then == "ask":
        turn.put(lane, then=BACKED_OFF)
        exhaust(turn, lane)
        return
    if at_hand.then == "abort":
        if not any(one.then and (one.queue or one.command) for one in turn.state.lanes):
            begin_hold(turn, "abort", f"{turn.node(at_hand.node).name}: left in order")
        return
    again_from = rule_for(turn, at_hand.node, at_hand.fault).again_from if at_hand.fault else -1
    done = at_hand.done
    if again_from >= 0:
        for node in turn.plan.lanes[lane]:
            if again_from <= node <= at_hand.node:
                done &= ~(1 << node)
    fresh = {"fault": "", "evidence": (), "then": "", "doing": Doing.STEP}
    turn.step(lane, "again", node=BETWEEN, done=done, **fresh)


def exhaust(turn: Turn, lane: int) -> None:
    """Do what the rule says when the attempts are used up."""
    at_hand = turn.lane(lane)
    rule = rule_for(turn, at_hand.node, at_hand.fault)
    words = f"{turn.node(at_hand.node).name}: {at_hand.fault}"
    if at_hand.unknown:
        raise_prompt(turn, lane, UNKNOWN_OUTCOME)
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
