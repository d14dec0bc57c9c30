"""Do what a person's answer to a prompt says.

Invariants: P5, what was done by hand is recorded so, by whom and to what torque, inside the step's
window; P6, an answer counts once, and only that of the prompt's owner.
"""

from coordinator.core import pairing, recovery
from coordinator.core.effects import Outcome, WithdrawPrompt, WriteRecord
from coordinator.core.events import PromptAnswered, PromptTaken
from coordinator.core.holds import HoldKind, begin_hold
from coordinator.core.plan import Move, NodeKind, Option
from coordinator.core.prompts import BACKED_OFF, close_prompt, options_of, pass_point, raise_prompt
from coordinator.core.state import BETWEEN, Doing, OpenPrompt
from coordinator.core.turn import Turn

PARTNER_BY_HAND = "partner_by_hand"
"""Stands for the fault of a side that may not pull alone: the other's bolt was done by hand."""


def take(turn: Turn, event: PromptTaken) -> None:
    """Make an open prompt a person's own; a later person may take it over, and that is noted."""
    prompts = turn.state.prompts
    opened = next((one for one in prompts if one.number == event.prompt), None)
    if opened is not None:
        taken = opened._replace(owner=event.who)
        turn.change(prompts=tuple(taken if one is opened else one for one in prompts))
        before = f" from {opened.owner}" if opened.owner else ""
        text = f"{event.who} takes prompt {event.prompt}{before}"
        turn.notify("note", "taken", text, party=opened.lane)


def answer(turn: Turn, event: PromptAnswered) -> None:
    """Take a person's answer; a late one, or one that does not suit, does nothing."""
    opened = next((p for p in turn.state.prompts if p.number == event.prompt), None)
    words = f"answer '{event.option}' by {event.who}"
    if opened is None:
        text = f"{words}: prompt {event.prompt} is not open"
        turn.notify("warning", "answer_late", text)
        return
    unfit = _unfit(turn, opened, event)
    if unfit:
        turn.notify("warning", "answer_unknown", f"{words}: {unfit}")
        return
    turn.notify("note", "answered", f"{event.who} answers {event.option}", party=opened.lane)
    close_prompt(turn, opened)
    turn.put(opened.lane, unknown=False)
    _act_on(turn, opened, event)


def _unfit(turn: Turn, opened: OpenPrompt, event: PromptAnswered) -> str:
    """Return why an answer does not count, empty if it does."""
    if event.option not in options_of(turn, opened):
        return "not among the options"
    if opened.owner and opened.owner != event.who:
        return f"prompt {opened.number} is {opened.owner}'s; take it over first"
    if event.option != Option.BY_HAND:
        return ""
    for node in (turn.node(index) for index in _by_hand(turn, opened)):
        target_nm = node.record.target_nm if node.record else 0.0
        if target_nm and event.torque_nm is None:
            return f"{node.name}: say the check torque with it"
        for window in node.windows:
            measured = event.torque_nm if window.result == "torque_nm" else None
            if measured is not None and not window.least <= measured <= window.most:
                bounds = f"{window.least:.0f} to {window.most:.0f} N·m"
                return f"{node.name}: check torque is {measured:.0f} N·m, must be {bounds}"
    return ""


def _by_hand(turn: Turn, opened: OpenPrompt) -> tuple[int, ...]:
    """Return the steps that a person's work stands for: in a span, all that its lane has left."""
    span = turn.node(opened.node).span
    if span < 0:
        return (opened.node,)
    pair = turn.plan.spans[span]
    own = pair.nodes[pair.lanes.index(opened.lane)]
    return tuple(node for node in own if not turn.lane(opened.lane).is_done(node))


def _act_on(turn: Turn, opened: OpenPrompt, event: PromptAnswered) -> None:
    lane, option = opened.lane, Option(event.option)
    if option is Option.RELEASE:
        pass_point(turn, lane)
    elif option is Option.AGAIN:
        _again(turn, lane)
    elif option is Option.BACK_OFF:
        recovery.recover(turn, lane)
        turn.put(lane, then="ask")
    elif option is Option.BY_HAND:
        _take_by_hand(turn, opened, event)
    elif option in (Option.REPLACE_BOLT, Option.BACK_A_ROUND):
        _go_back(turn, opened, event, option)
    elif option is Option.LEAVE:
        _leave(turn, opened)
    else:
        turn.step(lane, "withdraw")
        kind: HoldKind = "hold" if option is Option.HOLD else "abort"
        name = turn.node(opened.node).name
        begin_hold(turn, kind, f"{name}: {opened.fault}, answered {option}")


def _again(turn: Turn, lane: int) -> None:
    span = pairing.shared_span(turn, lane)
    if span < 0:
        is_made, checks = turn.lane(lane).then == BACKED_OFF, recovery.checks_due(turn, lane)
        recovery.recover(turn, lane)
        if is_made:
            turn.put(lane, queue=checks)
        return
    # Both sides may have asked: they go back together once the last prompt is answered.
    asked = [turn.lane(i).prompt for i in turn.plan.spans[span].lanes]
    if not any(asked):
        pairing.rewind(turn, span)


def _take_by_hand(turn: Turn, opened: OpenPrompt, event: PromptAnswered) -> None:
    lane, done = opened.lane, turn.lane(opened.lane).done
    results = () if event.torque_nm is None else (("torque_nm", event.torque_nm),)
    span = pairing.open_span(turn, lane)
    _forget_start(turn, span)
    for node in _by_hand(turn, opened):
        done |= 1 << node
        if turn.node(node).record is not None:
            attempt, number = turn.counted(lane, node, ""), turn.next_command()
            proof = WriteRecord(lane, number, node, attempt, "by_hand", "", results, event.who)
            turn.emit(proof)
    settled = {"fault": "", "evidence": (), "then": "", "done": done}
    checks = recovery.checks_due(turn, lane)
    if checks:
        turn.step(lane, "recover", queue=checks, **settled)
    else:
        turn.step(lane, "again", node=BETWEEN, queue=(), doing=Doing.STEP, **settled)
    for other in turn.plan.spans[span].lanes if span >= 0 else ():
        at_hand = turn.lane(other)
        if other == lane or at_hand.prompt:
            continue
        if at_hand.phase == "prompted":
            turn.step(other, "withdraw")  # It was to begin again together, which is no more.
            at_hand = turn.lane(other)
        first = pairing.first_node(turn, span, other)
        if not at_hand.is_done(first):
            turn.put(other, node=first, fault=at_hand.fault or PARTNER_BY_HAND)
            raise_prompt(turn, other, opened.prompt)
        elif at_hand.phase in ("interrupted", "faulted"):
            recovery.recover(turn, other, recheck=True)


def _go_back(turn: Turn, opened: OpenPrompt, event: PromptAnswered, option: Option) -> None:
    """Take both lanes of a span back over earlier rounds; their tools come off first (S6)."""
    here = dict(turn.node(opened.node).loops)
    first = 1 if option is Option.REPLACE_BOLT else max(1, here["round"] - 1)
    span = turn.plan.spans[turn.node(opened.node).span]
    for lane in span.lanes:
        if option is Option.REPLACE_BOLT:
            _void(turn, turn.node(opened.node).span, lane, event.who)
        at_hand = turn.lane(lane)
        leave, undone = _leave_moves(turn, lane), 0
        met: list[int] = []
        for (number, pair), inside in turn.plan.rounds[lane].items():
            is_pair = option is Option.BACK_A_ROUND or pair == here.get("pair", 0)
            if first <= number <= here["round"] and is_pair:
                undone |= inside.nodes
                met += inside.barriers
        turn.meet_again(met)
        # What failed there before a person sent them back is no attempt of what comes now.
        fresh = (one for one in at_hand.attempts if not (one[1] and undone >> one[0] & 1))
        turn.put(lane, done=at_hand.done & ~undone, attempts=tuple(fresh))
        _recover_by(turn, lane, leave, "back")
    text = f"{span.name}: both sides go back to round {first}"
    turn.notify("note", "back_a_round", text, node=opened.node)


def _void(turn: Turn, span: int, lane: int, who: str) -> None:
    """Say of all that was proved about a lane's bolt of the pair that it counts no more."""
    pulled = turn.node(pairing.first_node(turn, span, lane)).record
    for node, bolt in turn.plan.proofs[lane] if pulled else ():
        if pulled is None or bolt != pulled.bolt or not turn.lane(lane).is_done(node):
            continue
        # It stands run up by a person's hand: only its pulls are made again by the arms.
        outcome: Outcome = "replaced" if "round" in dict(turn.node(node).loops) else "by_hand"
        attempt = turn.counted(lane, node, "")
        turn.emit(WriteRecord(lane, turn.next_command(), node, attempt, outcome, "", (), who))


def _leave(turn: Turn, opened: OpenPrompt) -> None:
    """Let the lane, in a span both, leave the joint in order; then abort."""
    span = pairing.open_span(turn, opened.lane)
    _forget_start(turn, span)
    if turn.state.phase == "running":
        turn.proceed("pause", reason=f"{turn.node(opened.node).name}: leaving in order")
    both = turn.plan.spans[span].lanes if span >= 0 else ()
    for lane in [one for one in both if pairing.open_span(turn, one) == span] or (opened.lane,):
        _recover_by(turn, lane, _leave_moves(turn, lane), "abort")


def _forget_start(turn: Turn, span: int) -> None:
    """Wait no longer for a start that nobody reported: a person has decided how it goes on."""
    if span >= 0 and turn.state.meetings[turn.plan.spans[span].opens].phase == "released":
        turn.meet(turn.plan.spans[span].opens, "break", deadline_us=0)


def _leave_moves(turn: Turn, lane: int) -> tuple[Move, ...]:
    node = turn.lane(lane).node
    if node >= 0 and turn.node(node).kind is NodeKind.STEP:
        return turn.node(node).leave
    done = turn.lane(lane).done
    last = (turn.node(one) for one in reversed(turn.plan.lanes[lane]) if done >> one & 1)
    return next((node.leave for node in last if node.move), ())


def _recover_by(turn: Turn, lane: int, moves: tuple[Move, ...], then: str) -> None:
    """Queue moves for a lane that stands, whatever it was asked; a prompt of its own is over."""
    opened = next((one for one in turn.state.prompts if one.lane == lane), None)
    if opened is not None:
        close_prompt(turn, opened)
        turn.emit(WithdrawPrompt(opened.number, "the other side's answer stands for both"))
    at_hand = turn.lane(lane)
    node = at_hand.node
    if node < 0:
        node = next(one for one in turn.plan.lanes[lane] if not at_hand.is_done(one))
    changes = {"queue": moves, "doing": Doing.STEP, "then": then, "fault": "", "node": node}
    turn.put(lane, unknown=False)
    if at_hand.phase == "recovering" and at_hand.command:
        # A move under way comes to its end; of who leaves already, so does all that is queued.
        queue = at_hand.queue if at_hand.then == then else (*at_hand.queue[:1], *moves)
        turn.put(lane, then=then, queue=queue, fault="")
    elif at_hand.phase == "recovering":
        turn.put(lane, **changes)  # It stands before a move of its own, which is no longer wanted.
    else:
        turn.step(lane, "recover", **changes)
