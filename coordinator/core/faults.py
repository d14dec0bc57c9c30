"""Take in a fault and hand it to whoever decides: the pair inside a span, else the lane alone."""

from coordinator.core import commands, pairing, recovery
from coordinator.core.effects import Outcome, WriteRecord
from coordinator.core.events import PromptAnswered
from coordinator.core.holds import HoldKind, begin_hold, hold_party
from coordinator.core.plan import Option
from coordinator.core.prompts import close_prompt, options_of, pass_point
from coordinator.core.state import Doing, OpenPrompt
from coordinator.core.turn import Turn, require

DECIDING_PHASES = ("running", "pausing")


def fail(turn: Turn, lane: int, fault: str) -> None:
    """The lane's live command, or its step, has ended badly: count it and decide what follows."""
    at_hand = turn.lane(lane)
    node = turn.node(at_hand.node)
    require(not at_hand.prompt, "P4", f"{node.name} failed while a person was being asked")
    turn.notify("warning", "fault", f"{node.name}: {fault}", party=lane, node=at_hand.node)
    final = at_hand.doing is Doing.MOVE
    if final:
        # A recovery that fails is not recovered from: the attempts count as used up.
        fault = at_hand.fault or fault
    commands.clear(turn, lane)
    turn.step(lane, "fail", fault=fault, queue=(), doing=Doing.STEP, failing=False)
    failures = turn.count(lane, at_hand.node, fault)
    while final and failures < recovery.rule_for(turn, at_hand.node, fault).attempts:
        failures = turn.count(lane, at_hand.node, fault)
    decide_fate(turn, lane)


def decide_fate(turn: Turn, lane: int) -> None:
    """Decide about a faulted lane, unless the procedure is on its way to rest anyway."""
    if turn.state.phase not in DECIDING_PHASES:
        return
    span = pairing.open_span(turn, lane)
    if span >= 0:
        pairing.stop_partners(turn, span, lane)
    elif not turn.lane(lane).hold_us:
        # One that was told to hold is decided on once it stands.
        recovery.resolve(turn, lane)


def leave_band(turn: Turn, lane: int, span: int) -> None:
    """The pair pulled too differently: both hold, the one that reported last carries the fault."""
    hold_to_fail(turn, lane, "out_of_balance", turn.plan.spans[span].stop_us)
    pairing.stop_partners(turn, span, lane)


def hold_to_fail(turn: Turn, lane: int, fault: str, within_us: int) -> None:
    """Hold a lane that still moves; its fault is decided on once it stands."""
    turn.put(lane, fault=fault, failing=True)
    hold_party(turn, lane, within_us, f"{turn.node(turn.lane(lane).node).name}: {fault}")


def write_record(
    turn: Turn,
    lane: int,
    outcome: Outcome,
    fault: str = "",
    results: tuple[tuple[str, float], ...] = (),
) -> None:
    """Write what the live command of a step that proves something has proved."""
    at_hand = turn.lane(lane)
    node_index = commands.live_node(turn, lane)
    if node_index < 0 or at_hand.doing is not Doing.STEP or turn.node(node_index).record is None:
        return
    attempt = turn.counted(lane, node_index, "")
    turn.emit(WriteRecord(lane, at_hand.command, node_index, attempt, outcome, fault, results))


def answer(turn: Turn, event: PromptAnswered) -> None:
    """Take a person's answer; a late one, or one that was not offered, does nothing."""
    opened = next((p for p in turn.state.prompts if p.number == event.prompt), None)
    if opened is None:
        text = f"answer '{event.option}' by {event.who}: prompt {event.prompt} is not open"
        turn.notify("warning", "answer_late", text)
        return
    if event.option not in options_of(turn, opened.prompt):
        text = f"answer '{event.option}' by {event.who}: not among the options"
        turn.notify("warning", "answer_unknown", text)
        return
    turn.notify("note", "answered", f"{event.who} answers {event.option}", party=opened.lane)
    close_prompt(turn, opened)
    _act_on(turn, opened, Option(event.option))


def _act_on(turn: Turn, opened: OpenPrompt, option: Option) -> None:
    lane = opened.lane
    if option is Option.RELEASE:
        pass_point(turn, lane)
        return
    if option is Option.AGAIN:
        span = pairing.open_span(turn, lane)
        if span < 0:
            recovery.recover(turn, lane)
            return
        # Both sides may have asked: they go back together once the last prompt is answered.
        asked = [turn.lane(i).prompt for i in turn.plan.spans[span].lanes]
        if not any(asked):
            pairing.rewind(turn, span)
        return
    turn.step(lane, "withdraw")
    node = turn.node(opened.node)
    kind: HoldKind = "hold" if option is Option.HOLD else "abort"
    begin_hold(turn, kind, f"{node.name}: {opened.fault}, answered {option}")
