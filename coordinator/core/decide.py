"""The one door of the core: an event in, the next state and the effects out.

Units: ``*_us`` whole microseconds since the run began.
Invariants: D1, the same plan, state and event give the same answer; D2, the state names its next
deadline; D4, a decision settles in a bounded number of passes; X1, whatever parties and people do,
the core decides: it breaks no rule of its own, nothing raises; E4, as long as the procedure runs,
something can always happen; L3, no lease is longer than the file's.
"""

from operator import itemgetter
from typing import assert_never

from coordinator.core import (
    barriers,
    calls,
    commands,
    events,
    faults,
    holds,
    interlocks,
    lanes,
    overrides,
    pairing,
    procedure,
)
from coordinator.core.effects import Effect, SendLease
from coordinator.core.events import CommandEvent, Event, PartySeen
from coordinator.core.plan import Plan
from coordinator.core.state import (
    ACTIVE,
    AT_BARRIER,
    DECIDING,
    ENDED,
    HOLDING,
    Commanded,
    Lane,
    Meeting,
    Party,
    Phase,
    SignalValue,
    State,
    StepPhase,
    Watch,
)
from coordinator.core.turn import Turn, require

_NEVER_US = 1 << 62
_WAITS_UNTIL_US = itemgetter(Meeting._fields.index("deadline_us"))
_SETTLE_MAX = 64
"""Passes over all lanes in one turn; each pass sends something or ends the loop."""


def begin(plan: Plan, first_command: int = 0) -> State:
    """Return the state before anything has happened.

    Args:
        plan: What is to be done.
        first_command: Commands are numbered from the one after this; on a real bus it must be
            above every number of earlier runs, since the parties' ledgers outlive them.
    """
    return State(
        command=first_command,
        phase=Phase.IDLE,
        lanes=tuple(Lane() for _ in plan.parties),
        meetings=tuple(Meeting() for _ in plan.barriers),
        signals=tuple(SignalValue() for _ in plan.signals),
        tripped=tuple(False for _ in plan.interlocks),
        zones=tuple(-1 for _ in plan.zones),
    )


def decide(plan: Plan, state: State, event: Event) -> tuple[State, tuple[Effect, ...]]:
    """Return the state after `event`, and what must be done about it.

    Args:
        plan: The compiled sequence.
        state: The state before; not modified.
        event: What happened, with the time at which it is decided.

    Returns:
        The state after, and the effects in the order in which they must be carried out.

    Raises:
        InvariantViolation: the core broke a promise of its own; hold everything.
    """
    turn = Turn(plan, state, event.at_us)
    # Heartbeats and progress are most of what comes, and nothing follows from them: no settling.
    if _take(turn, event):
        _settle(turn)
    return turn.state, tuple(turn.effects)


def next_deadline_us(plan: Plan, state: State) -> int | None:
    """Return when `TimePassed` must come at the latest, or None if nothing is due."""
    # Asked after every event: plain comparisons cost half of what a list and its least do.
    due_us, silence_us = _NEVER_US, plan.timing.silence_us + 1
    for lane in state.lanes:
        online, _, seen_us = lane.party
        if online and seen_us + silence_us < due_us:
            due_us = seen_us + silence_us
        _, timer_us, timeout_us, _ = lane.watch
        hold_us = lane.rest.hold_us
        if 0 < timeout_us < due_us:
            due_us = timeout_us
        if 0 < timer_us < due_us:
            due_us = timer_us
        if 0 < hold_us < due_us:
            due_us = hold_us
    for meeting in filter(_WAITS_UNTIL_US, state.meetings):  # Many, and few of them wait.
        due_us = min(due_us, meeting.deadline_us)
    for override in state.overrides:
        due_us = min(due_us, override.until_us)
    for signal, (known, seen_us) in zip(plan.signals, state.signals, strict=True):
        if known is not None and seen_us + signal.max_age_us < due_us:
            due_us = seen_us + signal.max_age_us + 1
    if 0 < state.hold_us < due_us and state.phase in HOLDING:
        due_us = state.hold_us
    if state.renew_us < due_us and _is_leased(state):
        due_us = state.renew_us
    return None if due_us == _NEVER_US else due_us


def _take(turn: Turn, event: Event) -> bool:
    """Take the event into the state; tell whether anything else could follow from it."""
    # Reports of work first, heartbeats next: they are nearly all that comes.
    if isinstance(event, CommandEvent):
        return _take_command(turn, event)
    match event:
        case events.PartySeen():
            return _see_party(turn, event)
        case events.TimePassed():
            _pass_time(turn)
        case events.SignalSeen():
            # Repeated signals come by the second; only a change can act or release anything.
            if not interlocks.see_signal(turn, event):
                return False
            interlocks.watch(turn)
        case events.PersonAct():
            calls.take(turn, event)
        case events.PartyHeld(_, party, number):
            lanes.stands(turn, party, number)
        case events.PartyReady(_, party, number):
            _become_ready(turn, party, number)
        case events.PartyLost(_, party, because):
            if because and not turn.lane(party).party.online:
                turn.notify("alarm", "party_refused", f"{turn.name(party)} {because}", party=party)
            lanes.lost(turn, party, because or "is gone from the bus")
        case events.MessagesMissed():
            commands.ask_early(turn, event)
            return False
        case events.Resumed():
            procedure.take_up(turn)
        case _:
            assert_never(event)
    return True


def _take_command(turn: Turn, event: CommandEvent) -> bool:
    """Take in a report about a command; one about any but the live command does nothing."""
    lane = event.party
    at_hand = turn.lane(lane)
    at, live = at_hand.at, at_hand.live
    # Late reports of commands that were replaced are common after a hold: they do nothing.
    if live is None or live.number != event.command:
        return False
    match event:
        case events.CommandProgressed():
            commands.see_work(turn, lane)
            span = -1 if at_hand.rest.hold_us else pairing.watch_balance(turn, event)
            if span < 0:
                return False
            if turn.state.phase in DECIDING:
                faults.leave_band(turn, span)
        case events.CommandAccepted():
            if isinstance(at, Commanded) and at.phase is StepPhase.SENT:
                turn.step(lane, at._replace(phase=StepPhase.RUNNING), "accept")
            if at.phase not in AT_BARRIER:
                commands.see_work(turn, lane)
        case events.CommandArmed():
            if isinstance(at, Commanded) and at.phase is StepPhase.ARMING:
                barriers.confirm(turn, lane, at)
            else:
                holds.settle_outcome(turn, lane)  # Released, but it had not begun.
        case events.CommandStarted():
            if at.phase in (StepPhase.RUNNING, StepPhase.RECOVERING):
                commands.see_work(turn, lane)
                barriers.started(turn, lane, event.started_us)
        case events.CommandFinished():
            lanes.finished(turn, event)
        case events.CommandFaulted():
            if at.phase in AT_BARRIER:
                barrier = turn.node(at_hand.node).barrier
                barriers.break_up(turn, barrier, lane, f"failed while arming: {event.fault}")
            else:
                faults.write_record(turn, lane, "faulted", event.fault)
                faults.fail(turn, lane, event.fault, event.evidence)
        case events.CommandRefused():
            lanes.refused(turn, event)
        case events.CommandInterrupted():
            lanes.interrupted(turn, event)
        case _:
            assert_never(event)
    return True


def _become_ready(turn: Turn, lane: int, number: int) -> None:
    at_hand = turn.lane(lane)
    # An answer to an older make-ready may have been sent before a hold that came between.
    if number == at_hand.rest.control and at_hand.rest.held:
        turn.put_order(lane, at_hand.rest._replace(held=False), Watch())


def _pass_time(turn: Turn) -> None:
    overrides.expire(turn)
    interlocks.forget_old_signals(turn)
    interlocks.watch(turn)
    # Parties before barriers: one that is lost must be named as lost, not as missing.
    for lane in range(len(turn.state.lanes)):
        lanes.watch_timers(turn, lane)
    barriers.watch(turn)
    # Last: a hold that begins in this very turn has its own time and is not repeated at once.
    holds.insist(turn)
    if _is_leased(turn.state) and turn.state.renew_us <= turn.now_us:
        timing = turn.plan.timing
        turn.change(renew_us=turn.now_us + timing.renew_us)
        turn.emit(SendLease(turn.now_us + timing.lease_us))


def _see_party(turn: Turn, event: PartySeen) -> bool:
    before = turn.lane(event.party).party
    turn.put_party(event.party, Party(online=True, boot=event.boot, seen_us=event.at_us))
    if before.boot not in (0, event.boot):
        turn.notify("alarm", "party_restarted", f"{turn.name(event.party)} has started anew")
        holds.query_outcome(turn, event.party)
        if turn.state.phase in ACTIVE:
            reason = f"{turn.name(event.party)} has started anew"
            holds.begin_hold(turn, "hold", reason)
        return True
    return not before.online


def _settle(turn: Turn) -> None:
    """Let everything happen that may happen now, until nothing more does."""
    for _ in range(_SETTLE_MAX):
        before = turn.state
        procedure.settle_restart(turn)
        if turn.state.phase in DECIDING:
            for lane in range(len(turn.state.lanes)):
                if turn.state.phase in DECIDING:
                    lanes.advance(turn, lane)
            procedure.settle_pause(turn)
            procedure.settle_end(turn)
        if turn.state == before:
            return
    require(False, "D4", f"the turn did not settle in {_SETTLE_MAX} passes")


def _is_leased(state: State) -> bool:
    return state.phase is not Phase.IDLE and state.phase not in ENDED
