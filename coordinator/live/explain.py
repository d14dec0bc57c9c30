"""Explain at any moment what each lane is doing, what it waits for, since when, and what is next.

Invariants: LV5, every unmet condition is named, not the first alone.
"""

from dataclasses import dataclass

from coordinator.core import barriers, interlocks, modes, zones
from coordinator.core.plan import Mode, NodeKind, Plan
from coordinator.core.state import AT_BARRIER, FINISHED, Doing, Lane, State, Stopped
from coordinator.core.turn import Turn


@dataclass(frozen=True, slots=True)
class LaneWords:
    """One lane in words; empty where there is nothing to say."""

    name: str
    doing: str
    waiting: str
    next: str
    since_us: int
    unmet: tuple[str, ...] = ()
    """Every condition that keeps the lane from going on."""


def explain(plan: Plan, state: State, now_us: int) -> tuple[LaneWords, ...]:
    """Put every lane into words.

    Args:
        plan: The plan.
        state: The state of the run.
        now_us: The time now, for the age of signals.
    """
    turn = Turn(plan, state, now_us)
    return tuple(_explain_lane(turn, lane) for lane in range(len(plan.parties)))


def waiting_for_step(plan: Plan, state: State) -> tuple[int, ...]:
    """Return the lanes that wait for a person's word for their next step, while nothing moves.

    Empty in automatic mode, and while anything is under way or a person is asked something else.
    """
    if state.mode is Mode.AUTOMATIC or state.phase != "running" or state.prompts:
        return ()
    if any(lane.command or lane.queue or lane.rest.hold_us for lane in state.lanes):
        return ()
    turn = Turn(plan, state, 0)
    return tuple(lane for lane in range(len(state.lanes)) if _lacks_word(turn, lane))


def _lacks_word(turn: Turn, lane: int) -> bool:
    """Tell whether a lane stands before a step, or a barrier, that nobody has allowed."""
    at_hand = turn.lane(lane)
    is_before = at_hand.phase == "pending" and at_hand.node >= 0 and not at_hand.command
    if not is_before or turn.node(at_hand.node).kind is NodeKind.POINT:
        return False
    if turn.node(at_hand.node).kind is NodeKind.BARRIER:
        return not modes.is_allowed(turn, lane)
    return not modes.may_begin(turn, lane)


def steps_done(plan: Plan, index: int, lane: Lane) -> tuple[int, int]:
    """Return how many steps of a lane are done, and of how many; barriers and points are none."""
    steps = [node for node in plan.lanes[index] if plan.nodes[node].kind is NodeKind.STEP]
    return sum(lane.is_done(node) for node in steps), len(steps)


def _explain_lane(turn: Turn, lane: int) -> LaneWords:
    at_hand = turn.lane(lane)
    unmet = _unmet(turn, lane)
    return LaneWords(
        name=turn.name(lane),
        doing=_doing(turn, lane),
        waiting="; ".join(unmet),
        next=_next(turn, lane),
        since_us=at_hand.since_us,
        unmet=unmet,
    )


def _doing(turn: Turn, lane: int) -> str:
    at_hand = turn.lane(lane)
    if not at_hand.command or at_hand.node < 0:
        return ""
    name = turn.node(at_hand.node).name
    if at_hand.doing is Doing.MOVE:
        words = f"{at_hand.queue[0].action} (recovering {name} from {at_hand.at.fault or 'a hold'})"
    elif at_hand.phase in AT_BARRIER:
        words = f"{at_hand.phase} at {name}"
    elif at_hand.doing is Doing.STAND:
        words = f"standing by at {name}"
    else:
        words = name
    return f"{words}, told to hold" if at_hand.rest.hold_us else words


def _unmet(turn: Turn, lane: int) -> tuple[str, ...]:
    at_hand = turn.lane(lane)
    words = []
    if not at_hand.party.online:
        words.append("its party to come on the bus")
    if turn.state.phase not in ("running", "pausing"):
        words.append(f"the procedure to run (it is {turn.state.phase})")
    if at_hand.prompt:
        words.append(f"a person to answer prompt {at_hand.prompt} ({at_hand.at.fault})")
    if isinstance(at_hand.at, Stopped):
        words.append(f"{_node_name(turn, at_hand.node)} to be taken up again ({at_hand.phase})")
    if at_hand.command or at_hand.node < 0:
        return tuple(words)
    node = turn.node(at_hand.node)
    if node.kind is NodeKind.BARRIER:
        absent = [turn.name(i) for i in barriers.missing(turn, node.barrier) if i != lane]
        if absent:
            words.append(f"{', '.join(absent)} at {node.name}")
        following = [n for n in turn.plan.barriers[node.barrier].next_nodes if n >= 0]
        blocking = sorted({i for n in following for i in interlocks.unmet_for(turn, n)})
        is_unallowed = any(_lacks_word(turn, i) for i in turn.plan.barriers[node.barrier].lanes)
    else:
        is_unallowed = _lacks_word(turn, lane)
        blocking = list(interlocks.unmet_for(turn, at_hand.node))
        if node.move is not None and not zones.is_free(turn, lane, node.move):
            holder = turn.name(turn.state.zones[node.move.zone])
            words.append(f"{holder} to leave zone {turn.plan.zones[node.move.zone]}")
    if is_unallowed:
        words.append(f"a person's word for the next step (mode {turn.state.mode})")
    words += [f"interlock {turn.plan.interlocks[i].name}" for i in blocking]
    return tuple(words)


def _next(turn: Turn, lane: int) -> str:
    at_hand = turn.lane(lane)
    if at_hand.node == FINISHED:
        return "nothing: its lane is done"
    following = [
        node for node in turn.plan.lanes[lane] if not at_hand.is_done(node) and node != at_hand.node
    ]
    return turn.node(following[0]).name if following else "the end of its lane"


def _node_name(turn: Turn, node: int) -> str:
    return turn.node(node).name if node >= 0 else "between steps"
