"""Advance each lane: choose what is next, take in what its party reports, watch its timers.

Invariants: S5, a step of a paired span begins only by the release of both sides; T5, what is
recorded as done lies inside its windows; E1, after the last cause has healed the run ends, is held,
or goes on within its bound; E2, complete means that every step of every lane is done, and done
well; E5, from everywhere, with no more going wrong and people helping, it completes.
"""

from coordinator.core import barriers, commands, faults, interlocks, modes, pairing, recovery, zones
from coordinator.core.events import CommandFinished, CommandInterrupted, CommandRefused
from coordinator.core.holds import (
    ask_again,
    begin_hold,
    break_off,
    confirm_rest,
    is_doubted,
    note_unknown,
    settle_outcome,
    settled,
    take_rest,
)
from coordinator.core.plan import NodeKind
from coordinator.core.prompts import reach_point
from coordinator.core.state import (
    ACTIVE,
    AT_BARRIER,
    BETWEEN,
    DECIDING,
    FINISHED,
    Commanded,
    CoreFault,
    Doing,
    Going,
    Lane,
    Pending,
    Phase,
    Recovering,
    StepPhase,
    Stopped,
    Timer,
    Watch,
)
from coordinator.core.turn import Turn, require

_NEVER_ARRIVED = ("unknown", "expired", "no_lease")
"""Refusals after which the same command may be sent again: nothing was done."""


def advance(turn: Turn, lane: int) -> None:
    """Let a lane do the next thing that it may do."""
    at_hand = turn.lane(lane)
    at = at_hand.at
    if not isinstance(at, Going) or at_hand.rest.hold_us or at_hand.is_finished:
        return
    if isinstance(at, Recovering) and at.command is not None:
        return
    if pairing.waits_for_partner(turn, lane):
        return
    # A pause lets nothing begin, and leaves nothing half done.
    if turn.state.phase is Phase.PAUSING and not _may_go_on(turn, lane):
        return
    if at_hand.rest.held:
        # Asked once, the timer repeats it; to one that is not there it would only expire.
        if at_hand.watch.timer is not Timer.READY and at_hand.party.online:
            commands.make_ready(turn, lane)
        return
    if isinstance(at, Recovering):
        _recover(turn, lane, at)
        return
    if at_hand.node == BETWEEN:
        node = _next_node(turn, lane)
        turn.put(lane, at_hand._replace(node=node, since_us=turn.now_us))
    node = turn.lane(lane).node
    if node == FINISHED:
        return
    if turn.node(node).kind is NodeKind.BARRIER:
        barriers.arrive(turn, lane, turn.node(node).barrier)
    elif turn.node(node).kind is NodeKind.POINT:
        reach_point(turn, lane)
    else:
        _begin_step(turn, lane)


def finished(turn: Turn, event: CommandFinished) -> None:
    """The live command has ended well; a result outside its window is a fault all the same."""
    lane = event.party
    at_hand = turn.lane(lane)
    at = at_hand.at
    # An end of what was never released contradicts the party itself: it is told, not believed.
    if at.phase in AT_BARRIER:
        name = turn.name(lane)
        turn.notify("warning", "out_of_turn", f"{name} reports an end while {at.phase}")
    elif isinstance(at, Recovering):
        _finish_move(turn, lane, at)
    elif isinstance(at, Commanded):
        if at.command.doing is Doing.STEP:
            fault = _outside_window(turn, at_hand.node, event)
            # Written before it fails: a bad pull is evidence about the bolt as a good one is.
            faults.write_record(turn, lane, "finished", fault, event.results)
            if fault:
                faults.fail(turn, lane, fault)
                return
        _finish_step(turn, lane, at)


def _finish_move(turn: Turn, lane: int, at: Recovering) -> None:
    zones.leave(turn, lane, commands.live_move(turn, lane))
    if at.queue[0].is_check:
        text = f"checked again: {turn.name(lane)}: {at.queue[0].action}"
        turn.notify("note", "rechecked", text, party=lane, node=turn.lane(lane).node)
    # What was doubted was this move alone, and it has come to its end.
    fault = settled(at).fault
    turn.put_at(lane, at._replace(fault=fault, queue=at.queue[1:], command=None))
    turn.put_watch(lane, Watch())


def _finish_step(turn: Turn, lane: int, at: Commanded) -> None:
    at_hand = turn.lane(lane)
    # Standing by is no node: the barrier it follows was done at its release.
    done = at_hand.done
    if at.command.doing is Doing.STEP:
        zones.leave(turn, lane, commands.live_move(turn, lane))
        done |= 1 << at_hand.node
    # A lane that was told to hold keeps its fault: it is decided on once the party stands.
    fault, evidence = (at.fault, at.evidence) if at_hand.rest.hold_us else ("", ())
    at_rest = Pending(fault=fault, evidence=evidence)
    turn.step(lane, at_rest, "finish", "again", node=BETWEEN, done=done)
    turn.put_watch(lane, Watch())


def refused(turn: Turn, event: CommandRefused) -> None:
    """The party did not take the command: send it again, or count it as a fault."""
    lane = event.party
    at_hand = turn.lane(lane)
    # The bus may deliver twice (MQTT QoS 1); the first copy is the one that is obeyed.
    if event.reason == "duplicate":
        return
    if event.reason == "never_begun":
        _never_began(turn, lane)
        return
    phase = at_hand.at.phase
    never_arrived = event.reason in _NEVER_ARRIVED
    repeatable = phase in (StepPhase.SENT, StepPhase.ARMING, StepPhase.RECOVERING)
    told_to_hold = at_hand.rest.hold_us or turn.state.phase not in DECIDING
    if never_arrived and is_doubted(turn, lane) and not repeatable:
        # It took the command once and does not know it any more: ask a person.
        break_off(turn, lane)
        return
    if never_arrived and repeatable and told_to_hold:
        # It was never begun, and that is certain; nothing leaves after the order to hold.
        break_off(turn, lane)
        settle_outcome(turn, lane)
        return
    watch = at_hand.watch
    if never_arrived and repeatable and watch.asks < turn.plan.timing.asks:
        turn.put_watch(lane, watch._replace(asks=watch.asks + 1))
        commands.repeat(turn, lane)
        return
    # The party sees the floor itself and is not to trust us: what it sees holds everybody.
    why = ", ".join(filter(None, (event.reason, event.detail)))
    if event.reason == "interlock":
        break_off(turn, lane)
        begin_hold(turn, "hold", f"{turn.name(lane)} sees for itself: {why}")
    elif phase in AT_BARRIER:
        barriers.break_up(turn, turn.node(at_hand.node).barrier, lane, f"refused: {why}")
    else:
        faults.write_record(turn, lane, "faulted", CoreFault.REFUSED)
        faults.fail(turn, lane, CoreFault.REFUSED, (("arm_says", why),))


def _never_began(turn: Turn, lane: int) -> None:
    """It was armed, and dropped before its start: neither an attempt nor a record comes of it."""
    at_hand = turn.lane(lane)
    if at_hand.at.phase is StepPhase.RUNNING:
        turn.count_begin(lane, commands.live_node(turn, lane), by=-1)
    break_off(turn, lane)
    settle_outcome(turn, lane)
    # The arm let go by itself: nobody else may go on to a start that one side does not make.
    if not at_hand.rest.hold_us and turn.state.phase in ACTIVE:
        begin_hold(turn, "hold", f"{turn.name(lane)} held by itself")


def interrupted(turn: Turn, event: CommandInterrupted) -> None:
    """The party broke the live command off; unless we told it to, everybody holds."""
    lane = event.party
    at_hand = turn.lane(lane)
    faults.write_broken_off(turn, lane)
    break_off(turn, lane)
    # Its ledger does not hold how far a move came that its process died over (R3).
    if event.died:
        note_unknown(turn, lane)
    else:
        settle_outcome(turn, lane)
    # The party's own word that it stands follows; until then it does not count (H1).
    if not at_hand.rest.hold_us and turn.state.phase in ACTIVE:
        begin_hold(turn, "hold", f"{turn.name(lane)} held by itself")


def stands(turn: Turn, lane: int, number: int) -> None:
    """The party says that it stands and stays; only an answer to the latest hold counts (H1)."""
    at_hand = turn.lane(lane)
    rest = at_hand.rest
    # A word that it stands may have been sent before the hold that it seems to answer.
    if number != rest.control or rest.held:
        # Number 0: nobody told it to. It has lost its lease, or a person at the arm has held it.
        if not number and not rest.held and turn.state.phase in ACTIVE:
            begin_hold(turn, "hold", f"{turn.name(lane)} held by itself")
        return
    if ask_again(turn, lane):
        return  # The answer about its command was lost on the way.
    # A bolt that was under the wrench when it was held has a record, whatever comes of it.
    if at_hand.command:
        faults.write_broken_off(turn, lane)
    take_rest(turn, lane)
    confirm_rest(turn)
    if rest.hold_us and turn.state.phase in DECIDING:
        _decide_after_hold(turn, lane, at_hand)


def watch_timers(turn: Turn, lane: int) -> None:
    """Act on the lane's deadlines that are over."""
    at_hand = turn.lane(lane)
    if at_hand.party.online and turn.now_us - at_hand.party.seen_us > turn.plan.timing.silence_us:
        lost(turn, lane, "is silent")
        at_hand = turn.lane(lane)
    # Before the other deadlines: while it may still move, nothing else about it is decided.
    if 0 < at_hand.rest.hold_us <= turn.now_us:
        turn.put_rest(lane, at_hand.rest._replace(hold_us=0))
        pairing.overdue(turn, lane)
    elif 0 < at_hand.watch.timeout_us <= turn.now_us and at_hand.command:
        faults.hold_to_fail(turn, lane, CoreFault.TIMEOUT, turn.plan.timing.hold_us)
        # Too long for one is a fault of the pair: the other must not pull on alone (S3).
        span = pairing.shared_span(turn, lane)
        if span >= 0:
            pairing.stop_partners(turn, span, lane)
    elif at_hand.watch.timer is not Timer.NONE and at_hand.watch.timer_us <= turn.now_us:
        _on_timer(turn, lane)


def lost(turn: Turn, lane: int, why: str) -> None:
    """A party is gone from the bus: everybody holds."""
    at_hand = turn.lane(lane)
    if not at_hand.party.online:
        return
    turn.put_party(lane, at_hand.party._replace(online=False))
    turn.notify("alarm", "party_lost", f"{turn.name(lane)} {why}", party=lane)
    # Without a link a lease reaches it no more, so it stops by itself; all others are told to.
    if turn.state.phase in ACTIVE:
        begin_hold(turn, "hold", f"{turn.name(lane)} {why}")


def _begin_step(turn: Turn, lane: int) -> None:
    node = turn.lane(lane).node
    move = turn.node(node).move or commands.STAND_BY
    # Asked before interlocks: a lane that waits for a word would else run into the gate's timer.
    if not modes.may_begin(turn, lane):
        return
    if commands.may_send(turn, lane, node, move):
        # Used up only now: a word for a step that could not be sent still stands.
        modes.use(turn, lane)
        _require_no_lone_start(turn, node)
        turn.count_begin(lane, node)
        commands.send_step(turn, lane)
    else:
        _wait_at_gate(turn, lane, node)


def _require_no_lone_start(turn: Turn, node: int) -> None:
    """A step that a paired barrier releases is never sent by itself (S5)."""
    span = turn.node(node).span
    is_first = span >= 0 and node in turn.plan.first_of[span].values()
    require(not is_first, "S5", f"{turn.node(node).name} would begin without its partner")


def _recover(turn: Turn, lane: int, at: Recovering) -> None:
    node = turn.lane(lane).node
    if not at.queue:
        recovery.start_over(turn, lane, at)
    elif commands.may_send(turn, lane, node, at.queue[0]):
        commands.send_move(turn, lane, at)
    else:
        _wait_at_gate(turn, lane, node)


def _wait_at_gate(turn: Turn, lane: int, node: int) -> None:
    """Wait a moment for an interlock that is just clearing; a zone is waited for without limit."""
    watch = turn.lane(lane).watch
    # A zone is freed by another lane's end, which has deadlines of its own; a signal has none.
    if not interlocks.unmet_for(turn, node):
        turn.put_watch(lane, watch._replace(timer=Timer.NONE, timer_us=0))
    elif watch.timer is not Timer.GATE:
        gate_us = turn.now_us + turn.plan.timing.gate_us
        turn.put_watch(lane, watch._replace(timer=Timer.GATE, timer_us=gate_us))


def _on_timer(turn: Turn, lane: int) -> None:
    at_hand = turn.lane(lane)
    timer = at_hand.watch.timer
    if turn.state.phase not in ACTIVE:
        turn.put_watch(lane, at_hand.watch._replace(timer=Timer.NONE, timer_us=0))
    elif timer is Timer.GATE:
        turn.put_watch(lane, at_hand.watch._replace(timer=Timer.NONE, timer_us=0))
        unmet = interlocks.unmet_for(turn, at_hand.node)
        names = ", ".join(turn.plan.interlocks[i].name for i in unmet)
        if names:
            begin_hold(turn, "hold", f"{turn.node(at_hand.node).name} may not begin: {names}")
    elif timer is Timer.READY:
        _ask_ready(turn, lane)
    elif at_hand.command and not commands.ask(turn, lane):
        _fall_silent(turn, lane)


def _ask_ready(turn: Turn, lane: int) -> None:
    watch = turn.lane(lane).watch
    # Make-ready moves nothing, so that it may be sent again without asking first.
    if watch.asks < turn.plan.timing.asks:
        turn.put_watch(lane, watch._replace(asks=watch.asks + 1))
        commands.make_ready(turn, lane)
        return
    turn.put_watch(lane, Watch())
    begin_hold(turn, "hold", f"{turn.name(lane)} does not answer that it is ready")


def _fall_silent(turn: Turn, lane: int) -> None:
    """Asked as often as allowed, and no answer: what became of the command is unknown."""
    at_hand = turn.lane(lane)
    words = f"does not answer about {turn.node(at_hand.node).name}"
    # Armed it has not begun, and that is certain: nobody need be asked what became of it.
    if at_hand.at.phase in AT_BARRIER:
        barriers.break_up(turn, turn.node(at_hand.node).barrier, lane, words)
        return
    note_unknown(turn, lane)
    begin_hold(turn, "hold", f"{turn.name(lane)} {words}")


def _decide_after_hold(turn: Turn, lane: int, before: Lane) -> None:
    """A lane that was told to hold stands: it fails by its own fault, or waits for its partner."""
    span = pairing.open_span(turn, lane)
    at_hand = turn.lane(lane)
    at, failing, fault = at_hand.at, before.rest.failing, before.at.fault
    # It failed by itself before it stood: that fault counts, not the one it was held for.
    if isinstance(at, Stopped) and at.phase is StepPhase.FAULTED:
        faults.decide_fate(turn, lane)
    elif failing and isinstance(at, Stopped | Recovering):
        # Broken off for its fault; or a move ended after all, but too late.
        faults.fail(turn, lane, fault, before.at.evidence)
    elif failing and span >= 0 and isinstance(at, Pending):
        # It ended well before it came to rest; its fault was about the pair all the same.
        turn.put(lane, at_hand._replace(node=pairing.first_node(turn, span, lane)))
        faults.fail(turn, lane, fault, before.at.evidence)
    elif span >= 0:
        pairing.resolve_span(turn, span)
    else:
        turn.put_at(lane, at._replace(fault="", evidence=()))


def _may_go_on(turn: Turn, lane: int) -> bool:
    """While pausing, only what is inside a paired span or a recovery goes on to its end."""
    return isinstance(turn.lane(lane).at, Recovering) or pairing.open_span(turn, lane) >= 0


def _next_node(turn: Turn, lane: int) -> int:
    done = turn.lane(lane).done
    remaining = False
    for node in turn.plan.lanes[lane]:
        if done >> node & 1:
            continue
        remaining = True
        if not turn.plan.needed[node] & ~done:
            return node
    return BETWEEN if remaining else FINISHED


def _outside_window(turn: Turn, node: int, event: CommandFinished) -> str:
    results = dict(event.results)
    for window in turn.node(node).windows:
        # A result that was not reported is outside its window: what is not known is not good.
        value = results.get(window.result)
        if value is None or not window.least <= value <= window.most:
            must = f"must be {window.least:g} to {window.most:g}"
            text = f"{turn.node(node).name}: {window.result} is {value}, {must}"
            turn.notify("warning", "out_of_window", text)
            return window.fault
    return ""
