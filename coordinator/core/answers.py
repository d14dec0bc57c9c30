"""Do what a person's answer to a prompt says: one function for each option, with its reason.

Invariants: P5, what was done by hand is recorded so, by whom and to what torque, inside the step's
window; P6, an answer counts once, and only that of the prompt's owner; TD3, an answer is told as
taken only of an open prompt, which it closes, and as refused only if it closes none.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

from coordinator.core import pairing, recovery
from coordinator.core.effects import Outcome, WithdrawPrompt, WriteRecord
from coordinator.core.events import PromptAnswered, PromptTaken
from coordinator.core.holds import HoldKind, begin_hold
from coordinator.core.plan import Move, NodeKind, Option
from coordinator.core.prompts import (
    asked_at,
    close_prompt,
    options_of,
    pass_point,
    raise_prompt,
    withdraw,
)
from coordinator.core.state import (
    BETWEEN,
    Asked,
    CoreFault,
    MeetingPhase,
    OpenPrompt,
    Pending,
    Phase,
    Recovering,
    StepPhase,
    Stopped,
    Then,
)
from coordinator.core.turn import Turn

ANSWERED_KEPT = 8
"""Chosen: more than are open at once in any plan; only words come of it."""


class _Answer(NamedTuple):
    """An answer that counts."""

    opened: OpenPrompt
    who: str
    """Whose hands did what it says."""
    torque_nm: float | None

    @property
    def lane(self) -> int:
        return self.opened.lane


def take(turn: Turn, event: PromptTaken) -> None:
    """Make an open prompt a person's own; a later person may take it over, and that is noted."""
    prompts = turn.state.prompts
    opened = next((one for one in prompts if one.number == event.prompt), None)
    if opened is None:
        turn.refuse("answer_late", f"take by {event.who}: prompt {event.prompt} is not open")
        return
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
        who = dict(turn.state.answered).get(event.prompt)
        why = "is not open any more" if who is None else f"was answered by {who} already"
        turn.refuse("answer_late", f"{words}: prompt {event.prompt} {why}")
        return
    unsuitable = _unsuitable(turn, opened, event)
    if unsuitable:
        turn.refuse("answer_unknown", f"{words}: {unsuitable}; the prompt stays open")
        return
    turn.notify("note", "answered", f"{event.who} answers {event.option}", party=opened.lane)
    close_prompt(turn, opened)
    if event.call:
        turn.change(answered=(*turn.state.answered, (event.prompt, event.who))[-ANSWERED_KEPT:])
    # The person has looked: from here on it is known what became of the command (R3).
    turn.put_at(opened.lane, asked_at(turn, opened.lane)._replace(unknown=False))
    done_by = event.done_by or event.who
    _BY_OPTION[Option(event.option)](turn, _Answer(opened, done_by, event.torque_nm))


def _unsuitable(turn: Turn, opened: OpenPrompt, event: PromptAnswered) -> str:
    """Return why an answer does not count, empty if it does."""
    # Asked anew: what was offered when the question was raised may not apply any more.
    options = options_of(turn, opened)
    if event.option not in options:
        return f"not among the options, which are {', '.join(options)}"
    # Two people who answer one question differently would each believe to have been heard.
    if opened.owner and opened.owner != event.who:
        return f"prompt {opened.number} is {opened.owner}'s; take it over first"
    if event.option != Option.BY_HAND:
        return ""
    for node in (turn.node(index) for index in _by_hand(turn, opened)):
        target_nm = node.record.target_nm if node.record else 0.0
        # Without its torque a bolt done by hand has no evidence of load.
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


def _release(turn: Turn, given: _Answer) -> None:
    """The hold point is passed: it was there to have a person look, and a person has."""
    pass_point(turn, given.lane)


def _again(turn: Turn, given: _Answer) -> None:
    """Try once more; inside a span both sides do, for a lone pull would tilt the flange (S6)."""
    lane = given.lane
    span = pairing.shared_span(turn, lane)
    if span >= 0:
        # Both sides may have asked: they go back together once the last prompt is answered.
        if not any(turn.lane(i).prompt for i in turn.plan.spans[span].lanes):
            pairing.rewind(turn, span)
        return
    is_made = turn.lane(lane).then is Then.BACKED_OFF
    owed = turn.lane(lane).owed
    recovery.recover(turn, lane)
    at = turn.lane(lane).at
    if is_made and isinstance(at, Recovering):
        # The moves of the recovery were made before the person was asked: only checks are owed.
        turn.put_at(lane, at._replace(queue=owed))


def _back_off(turn: Turn, given: _Answer) -> None:
    """Make the moves of the recovery and ask again: a person wants to see it freed first."""
    recovery.recover(turn, given.lane, then=Then.ASK)


def _done_by_hand(turn: Turn, given: _Answer) -> None:
    """Count the steps as done; the partner, who may not pull alone, is asked or goes on."""
    lane, done = given.lane, turn.lane(given.lane).done
    results = () if given.torque_nm is None else (("torque_nm", given.torque_nm),)
    span = pairing.open_span(turn, lane)
    # Else the barrier would miss the start of a pull that nobody makes any more.
    _forget_start(turn, span)
    for node in _by_hand(turn, given.opened):
        done |= 1 << node
        if turn.node(node).record is not None:
            attempt, number = turn.begun(lane, node), turn.next_command()
            proof = WriteRecord(lane, number, node, attempt, "by_hand", "", results, given.who)
            turn.emit(proof)
    checks = turn.lane(lane).owed
    if checks:
        turn.step(lane, Recovering(StepPhase.RECOVERING, queue=checks), "recover", done=done)
    else:
        turn.step(lane, Pending(), "again", node=BETWEEN, done=done)
    for other in turn.plan.spans[span].lanes if span >= 0 else ():
        if other != lane and not turn.lane(other).prompt:
            _go_on_without(turn, other, span, given.opened.prompt)


def _go_on_without(turn: Turn, lane: int, span: int, prompt: int) -> None:
    """Let a lane go on whose partner's part of the span was done by hand."""
    if isinstance(turn.lane(lane).at, Asked):
        withdraw(turn, lane)  # It was to begin again together, which is no more.
    at_hand = turn.lane(lane)
    first = pairing.first_node(turn, span, lane)
    if not at_hand.is_done(first):
        turn.put(lane, at_hand._replace(node=first))
        raise_prompt(turn, lane, prompt, at_hand.at.fault or CoreFault.PARTNER_BY_HAND)
    elif isinstance(at_hand.at, Stopped):
        recovery.recover(turn, lane, recheck=True)


def _replace_bolt(turn: Turn, given: _Answer) -> None:
    """Begin the pair anew from the first round: a new bolt holds nothing, nor does its opposite."""
    span = turn.node(given.opened.node).span
    for lane in turn.plan.spans[span].lanes:
        _void(turn, span, lane, given.who)
        _go_back(turn, given.opened, lane, first=1, whole_round=False)
    _tell_round(turn, given.opened, 1)


def _back_a_round(turn: Turn, given: _Answer) -> None:
    """Pull the round before again, every pair: what one bolt lost, its neighbours carry (S6)."""
    here = turn.plan.round_of[given.opened.node] or (1, 0)
    first = max(1, here[0] - 1)
    for lane in turn.plan.spans[turn.node(given.opened.node).span].lanes:
        _go_back(turn, given.opened, lane, first=first, whole_round=True)
    _tell_round(turn, given.opened, first)


def _go_back(turn: Turn, opened: OpenPrompt, lane: int, *, first: int, whole_round: bool) -> None:
    """Take a lane of a span back over earlier rounds; its tool comes off first."""
    number, pair = turn.plan.round_of[opened.node] or (1, 0)
    undone = 0
    met: list[int] = []
    for (at_round, at_pair), inside in turn.plan.rounds[lane].items():
        if first <= at_round <= number and (whole_round or at_pair == pair):
            undone |= inside.nodes
            met += inside.barriers
    turn.end_meetings(met, "again")
    at_hand = turn.lane(lane)
    leave = _leave_moves(turn, lane)
    # What failed there before a person sent them back is no attempt of what comes now.
    attempts = tuple(one for one in at_hand.attempts if not undone >> one[0] & 1)
    turn.put(lane, at_hand._replace(done=at_hand.done & ~undone, attempts=attempts))
    _send_away(turn, lane, (*leave, *_owed_behind(turn, lane)), Then.GO_BACK)


def _owed_behind(turn: Turn, lane: int) -> tuple[Move, ...]:
    """Return the checks that a lane owes once its tool is off, and that no step ahead makes (H8).

    One that is under way comes to its end by itself.
    """
    at_hand = turn.lane(lane)
    under_way = at_hand.queue[:1] if at_hand.command else ()
    ahead = [turn.node(one).move for one in turn.plan.lanes[lane] if not at_hand.is_done(one)]
    steps = [replace(move, is_check=True) for move in ahead if move is not None]
    return tuple(move for move in at_hand.owed if move not in (*steps, *under_way))


def _tell_round(turn: Turn, opened: OpenPrompt, first: int) -> None:
    name = turn.plan.spans[turn.node(opened.node).span].name
    text = f"{name}: both sides go back to round {first}"
    turn.notify("note", "back_a_round", text, node=opened.node)


def _void(turn: Turn, span: int, lane: int, who: str) -> None:
    """Say of all that was proved about a lane's bolt of the pair that it counts no more."""
    pulled = turn.node(pairing.first_node(turn, span, lane)).record
    for node, bolt in turn.plan.proofs[lane] if pulled else ():
        if pulled is None or bolt != pulled.bolt or not turn.lane(lane).is_done(node):
            continue
        # It stands run up by a person's hand: only its pulls are made again by the arms.
        outcome: Outcome = "by_hand" if turn.plan.round_of[node] is None else "replaced"
        attempt = turn.begun(lane, node)
        turn.emit(WriteRecord(lane, turn.next_command(), node, attempt, outcome, "", (), who))


def _leave(turn: Turn, given: _Answer) -> None:
    """Let the lane, in a span both, leave the joint in order; then abort.

    An abort at once would leave tools on the bolts, and a person beside a loaded wrench.
    """
    lane = given.lane
    span = pairing.open_span(turn, lane)
    _forget_start(turn, span)
    if turn.state.phase is Phase.RUNNING:
        # Pausing, nobody else begins anything new meanwhile.
        turn.proceed("pause", reason=f"{turn.node(given.opened.node).name}: leaving in order")
    both = turn.plan.spans[span].lanes if span >= 0 else ()
    for one in [one for one in both if pairing.open_span(turn, one) == span] or (lane,):
        _send_away(turn, one, _leave_moves(turn, one), Then.ABORT)


def _end(kind: HoldKind) -> Callable[[Turn, _Answer], None]:
    def end(turn: Turn, given: _Answer) -> None:
        """Bring everybody to rest; the lane keeps its fault for whoever restarts."""
        withdraw(turn, given.lane)
        name = turn.node(given.opened.node).name
        begin_hold(turn, kind, f"{name}: {given.opened.fault}, answered {kind}")

    return end


def _forget_start(turn: Turn, span: int) -> None:
    """Wait no longer for a start that nobody reported: a person has decided how it goes on."""
    opens = turn.plan.spans[span].opens if span >= 0 else -1
    if opens >= 0 and turn.state.meetings[opens].phase is MeetingPhase.RELEASED:
        turn.end_meeting(opens, "break")


def _leave_moves(turn: Turn, lane: int) -> tuple[Move, ...]:
    """Return what leaves in order the step at hand, or the one that was done last."""
    node = turn.lane(lane).node
    if node >= 0 and turn.node(node).kind is NodeKind.STEP:
        return turn.node(node).leave
    done = turn.lane(lane).done
    last = (turn.node(one) for one in reversed(turn.plan.lanes[lane]) if done >> one & 1)
    return next((node.leave for node in last if node.move), ())


def _send_away(turn: Turn, lane: int, moves: tuple[Move, ...], then: Then) -> None:
    """Queue moves for a lane that stands, whatever it was asked; a prompt of its own is over."""
    opened = next((one for one in turn.state.prompts if one.lane == lane), None)
    if opened is not None:
        close_prompt(turn, opened)
        turn.emit(WithdrawPrompt(opened.number, "the other side's answer stands for both"))
    # A command is never taken back from here: only a hold stops a party, and none is due.
    at_hand = turn.lane(lane)
    at = at_hand.at
    if isinstance(at, Recovering) and at.command is not None:
        # A move under way comes to its end; of who leaves already, so does all that is queued.
        queue = at.queue if at.then is then else (*at.queue[:1], *moves)
        command = at.command._replace(unknown=False)
        turn.put_at(lane, Recovering(at.phase, queue=queue, then=then, command=command))
        return
    node = at_hand.node
    if node < 0:
        node = next(one for one in turn.plan.lanes[lane] if not at_hand.is_done(one))
    away = Recovering(StepPhase.RECOVERING, queue=moves, then=then)
    if isinstance(at, Recovering):
        # It stands before a move of its own, which is no longer wanted.
        turn.put(lane, at_hand._replace(at=away, node=node))
    else:
        turn.step(lane, away, "recover", node=node)


_BY_OPTION: dict[Option, Callable[[Turn, _Answer], None]] = {
    Option.RELEASE: _release,
    Option.AGAIN: _again,
    Option.BACK_OFF: _back_off,
    Option.BY_HAND: _done_by_hand,
    Option.REPLACE_BOLT: _replace_bolt,
    Option.BACK_A_ROUND: _back_a_round,
    Option.LEAVE: _leave,
    Option.HOLD: _end("hold"),
    Option.ABORT: _end("abort"),
}
