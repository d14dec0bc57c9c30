"""The plan: a sequence, its cell and its joint, frozen and integer-indexed, ready to be decided on.

Everything is a tuple index: party, node, barrier, span, interlock, zone, signal, prompt, fault.
The words stand beside the numbers so that the core can explain itself.

Units: ``*_us`` whole microseconds; ``*_nm`` whole newton metres; parameters in SI.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import NamedTuple

Value = bool | int | float | str


class NodeKind(StrEnum):
    STEP = "step"
    BARRIER = "barrier"
    POINT = "point"


class Exhausted(StrEnum):
    """What follows the last attempt."""

    ASK = "ask"
    HOLD = "hold"
    ABORT = "abort"


class Option(StrEnum):
    """What a person may answer to a prompt."""

    AGAIN = "again"
    RELEASE = "release"
    BACK_OFF = "back_off"
    """Make the moves of the recovery, then ask again."""
    BY_HAND = "by_hand"
    """A person has done it, and says to what torque."""
    REPLACE_BOLT = "replace_bolt"
    """A person has put in a new bolt and slackened its opposite: both from the first round."""
    BACK_A_ROUND = "back_a_round"
    """Both sides pull again from the beginning of the round before."""
    LEAVE = "leave"
    """Abort in order: tools come off first."""
    HOLD = "hold"
    ABORT = "abort"


class Mode(StrEnum):
    """How far the procedure goes by itself."""

    AUTOMATIC = "automatic"
    STEP = "step"
    """Semi-automatic: every lane one step, for each word of a person."""
    TO_BARRIER = "to_barrier"
    """Semi-automatic: every lane to its next barrier."""
    MANUAL = "manual"
    """One lane, one step, as a person says."""


class InterlockKind(StrEnum):
    INTERLOCK = "interlock"
    """Holds while active; gates motion commands."""
    TRIP = "trip"
    """Holds at any moment and stays latched until a person resets it."""
    PERMISSIVE = "permissive"
    """Needed to start and to restart, not watched while running."""


@dataclass(frozen=True, slots=True)
class Origin:
    """Where in a file something was written."""

    file: str = ""
    line: int = 0
    column: int = 0


@dataclass(frozen=True, slots=True)
class Move:
    """One action with its parameters: what a command asks of a party."""

    action: str
    parameters: tuple[tuple[str, Value], ...] = ()
    timeout_us: int = 60_000_000
    no_progress_us: int = 5_000_000
    on_hold: str = "stop"
    zone: int = -1
    is_check: bool = False
    """Made again after a hold: once it is owed, only its own good end takes it off."""


@dataclass(frozen=True, slots=True)
class Rule:
    """What a step does about one kind of fault."""

    fault: str
    attempts: int = 1
    """How often the step is tried in all, by itself, before `then`."""
    recover: tuple[Move, ...] = ()
    again_from: int = -1
    """Node of the same lane that the next attempt starts at; -1 for the step itself."""
    then: Exhausted = Exhausted.HOLD
    prompt: int = -1


@dataclass(frozen=True, slots=True)
class Window:
    """A result that must lie inside [least, most], or the step has failed with `fault`."""

    result: str
    least: float
    most: float
    fault: str


@dataclass(frozen=True, slots=True)
class Record:
    """What a finished or failed step proves about a bolt."""

    bolt: int
    kind: str
    round: int = 0
    target_nm: float = 0.0


@dataclass(frozen=True, slots=True)
class Node:
    """A step or a barrier in one lane."""

    name: str
    lane: int
    kind: NodeKind
    after: tuple[int, ...]
    """Nodes of the same lane that must be done before."""
    barrier: int = -1
    move: Move | None = None
    rules: tuple[Rule, ...] = ()
    windows: tuple[Window, ...] = ()
    exceptions: tuple[tuple[int, str], ...] = ()
    """(interlock, the author's reason) under which this step may move all the same."""
    permissives: tuple[int, ...] = ()
    """Interlocks that must be good for this step to begin, whatever their kind."""
    rechecks: tuple[Move, ...] = ()
    """Made again, in this order, before an interrupted step starts over."""
    leave: tuple[Move, ...] = ()
    """Made, in this order, to leave what the step was about in order."""
    loops: tuple[tuple[str, int], ...] = ()
    """(kind, which) of each loop that the step stands in."""
    span: int = -1
    record: Record | None = None
    prompt: int = -1
    """At a point: what a person is asked, or told."""
    is_witness: bool = False
    origin: Origin = Origin()

    def __post_init__(self) -> None:
        """Mark what is checked again, so that it is known wherever it is queued."""
        object.__setattr__(self, "rechecks", _as_checks(self.rechecks))


@dataclass(frozen=True, slots=True)
class Barrier:
    """A meeting of parties that none passes alone."""

    name: str
    lanes: tuple[int, ...]
    nodes: tuple[int, ...]
    """The barrier's node in each of `lanes`."""
    next_nodes: tuple[int, ...]
    """The step armed at the barrier in each of `lanes`; -1 to stand by."""
    timeout_us: int = 120_000_000
    window_us: int = 50_000
    span: int = -1
    """The paired span that opens when it releases."""


@dataclass(frozen=True, slots=True)
class Span:
    """Everything between a paired barrier and the barrier that closes it: one fate for both."""

    name: str
    opens: int
    closes: int
    lanes: tuple[int, ...]
    nodes: tuple[tuple[int, ...], ...]
    """Steps inside, for each of `lanes`."""
    balance_nm: int
    stop_us: int
    """Within this the partner of a faulted side must have reported that it stands."""


@dataclass(frozen=True, slots=True)
class Signal:
    name: str
    max_age_us: int


@dataclass(frozen=True, slots=True)
class Interlock:
    """Good only while its signal is true, known and fresh."""

    name: str
    signal: int
    kind: InterlockKind
    cause: str = ""
    consequence: str = ""
    operator_action: str = ""
    override_us: int = 0
    """A person may override it for this long at most; 0 for never."""
    rechecks: tuple[Move, ...] = ()
    """Made by every arm once it has acted, before anything else that the arm does."""

    def __post_init__(self) -> None:
        """Mark what is checked again, so that it is known wherever it is queued."""
        object.__setattr__(self, "rechecks", _as_checks(self.rechecks))


@dataclass(frozen=True, slots=True)
class Prompt:
    """A question to a person, in the author's words."""

    name: str
    text: str
    caution: str
    options: tuple[tuple[Option, str], ...]
    """(option, what it does)"""
    who: str = ""
    """Whose answer is asked for, in the author's words."""


@dataclass(frozen=True, slots=True)
class Party:
    name: str
    is_arm: bool = True


@dataclass(frozen=True, slots=True)
class Timing:
    """Times of the link between coordinator and parties."""

    lease_us: int = 1_000_000
    renew_us: int = 400_000
    acknowledge_us: int = 500_000
    """Silence after a command before the party is asked about it."""
    asks: int = 3
    """How often it is asked before it counts as silent."""
    expiry_us: int = 2_000_000
    lead_us: int = 200_000
    """From the release of a barrier to the start time it carries."""
    hold_us: int = 3_000_000
    """Within this every party must have reported that it stands."""
    silence_us: int = 4_000_000
    """A party without a heartbeat for this long counts as lost."""
    gate_us: int = 1_000_000
    """A lane waits this long for an interlock that is just clearing, then the procedure holds."""


@dataclass(frozen=True, slots=True)
class Caps:
    """What no arm may exceed in a run, whatever its step says; the arms keep to it themselves."""

    torque_nm: float | None = None
    speed_share: float = 1.0
    """Of the full speed of the arm."""


UNCAPPED = Caps()


class Gate(NamedTuple):
    """An interlock that counts for a node."""

    interlock: int
    excepted: bool
    """The node names it with a reason: only once it is latched does it keep the node."""


class ToolOn(NamedTuple):
    """What takes a tool off before the joint is checked again, and puts it on again behind."""

    off: tuple[Move, ...] = ()
    on: tuple[Move, ...] = ()


class InRound(NamedTuple):
    """What of a lane is in one round, of one pair."""

    nodes: int = 0
    """A mask."""
    barriers: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Plan:
    """The whole of it; the core reads nothing else."""

    name: str
    parties: tuple[Party, ...]
    """One lane each, in this order."""
    nodes: tuple[Node, ...]
    lanes: tuple[tuple[int, ...], ...]
    """Nodes of each lane in file order."""
    barriers: tuple[Barrier, ...] = ()
    spans: tuple[Span, ...] = ()
    interlocks: tuple[Interlock, ...] = ()
    signals: tuple[Signal, ...] = ()
    zones: tuple[str, ...] = ()
    prompts: tuple[Prompt, ...] = ()
    timing: Timing = Timing()
    caps: Caps = UNCAPPED
    digest: str = ""
    """SHA-256 over the files it was made from."""
    spans_of: tuple[tuple[tuple[int, int, int], ...], ...] = field(init=False, compare=False)
    """For each lane its spans: (span, mask of the node that opens it, of the one that closes it)"""
    rounds: tuple[Mapping[tuple[int, int], InRound], ...] = field(init=False, compare=False)
    """For each lane what of it is in each (round, pair); pair 0 where a node is in none."""
    proofs: tuple[tuple[tuple[int, int], ...], ...] = field(init=False, compare=False)
    """For each lane (node, bolt) of each step that proves something."""
    round_of: tuple[tuple[int, int] | None, ...] = field(init=False, compare=False)
    """For each node its (round, pair), None where it is in no round."""
    gates: tuple[tuple[Gate, ...], ...] = field(init=False, compare=False)
    """For each node the interlocks that may keep it from moving; last, for no node at all."""
    commanded: tuple[int, ...] = field(init=False, compare=False)
    """For each node the one that a command given out at it is for: at a barrier the armed one."""
    needed: tuple[int, ...] = field(init=False, compare=False)
    """For each node the mask of those that must be done before."""
    first_of: tuple[Mapping[int, int], ...] = field(init=False, compare=False)
    """For each span, by lane, the step that its opening barrier releases."""
    tool_on: Mapping[int, ToolOn] = field(init=False, compare=False)
    """By node, where a lane that stands there has its tool on what its span is about."""

    def __post_init__(self) -> None:
        """Look up once, when the plan is compiled, what would else be at every decision."""
        lanes, nodes = range(len(self.lanes)), self.nodes
        found: dict[str, object] = {
            "spans_of": tuple(self._spans_of(lane) for lane in lanes),
            "round_of": tuple(_round_of(node) for node in nodes),
            "proofs": tuple(self._proofs(lane) for lane in lanes),
            "gates": tuple(self._gates(node) for node in (*nodes, None)),
            "commanded": tuple(self._commanded(index) for index in range(len(nodes))),
            "needed": tuple(_mask(node.after) for node in nodes),
            "first_of": tuple(
                dict(zip(opens.lanes, opens.next_nodes, strict=True))
                for opens in (self.barriers[span.opens] for span in self.spans)
            ),
            "tool_on": dict(one for span in self.spans for one in self._tool_on(span)),
        }
        for name, value in found.items():
            object.__setattr__(self, name, value)  # The way of frozen dataclasses.
        object.__setattr__(self, "rounds", tuple(self._rounds(lane) for lane in lanes))

    def _spans_of(self, lane: int) -> tuple[tuple[int, int, int], ...]:
        own = (
            (index, span, span.lanes.index(lane))
            for index, span in enumerate(self.spans)
            if lane in span.lanes
        )
        return tuple(
            (
                index,
                1 << self.barriers[span.opens].nodes[at],
                1 << self.barriers[span.closes].nodes[at],
            )
            for index, span, at in own
        )

    def _tool_on(self, span: Span) -> Iterator[tuple[int, ToolOn]]:
        """Yield every node before which a lane has its tool on, from the first step that left so.

        The steps that lead up to a span and are left by the same moves as it have put it on.
        """
        opens, closes = self.barriers[span.opens], self.barriers[span.closes]
        for lane, first in zip(opens.lanes, opens.next_nodes, strict=True):
            leave = self.nodes[first].leave if first >= 0 else ()
            if not leave or lane not in closes.lanes:
                continue
            order, closing = self.lanes[lane], closes.nodes[closes.lanes.index(lane)]
            at = order.index(first)
            while at and _leads_up(self.nodes[order[at - 1]], leave):
                at -= 1
            on: tuple[Move, ...] = ()
            for node in order[at : order.index(closing) + 2]:
                if on:
                    yield node, ToolOn(_as_checks(leave), _as_checks(on))
                move, in_span = self.nodes[node].move, self.nodes[node].span >= 0
                if move is not None and not in_span and self.nodes[node].leave == leave:
                    on = (*on, move)

    def _rounds(self, lane: int) -> dict[tuple[int, int], InRound]:
        found: dict[tuple[int, int], InRound] = {}
        for node in self.lanes[lane]:
            key, barrier = self.round_of[node], self.nodes[node].barrier
            if key is not None:
                nodes, barriers = found.get(key, InRound())
                barriers += (barrier,) if barrier >= 0 else ()
                found[key] = InRound(nodes | 1 << node, barriers)
        return found

    def _proofs(self, lane: int) -> tuple[tuple[int, int], ...]:
        proved = ((node, self.nodes[node].record) for node in self.lanes[lane])
        return tuple((node, record.bolt) for node, record in proved if record is not None)

    def _gates(self, node: Node | None) -> tuple[Gate, ...]:
        needed = node.permissives if node else ()
        excepted = tuple(index for index, _ in node.exceptions) if node else ()
        return tuple(
            Gate(index, index in excepted)
            for index, interlock in enumerate(self.interlocks)
            if interlock.kind is not InterlockKind.PERMISSIVE or index in needed
        )

    def _commanded(self, node: int) -> int:
        if self.nodes[node].barrier < 0:
            return node
        meeting = self.barriers[self.nodes[node].barrier]
        # A plan may name a barrier that does not name the node back: the proof tells that of it.
        return meeting.next_nodes[meeting.nodes.index(node)] if node in meeting.nodes else -1


def _leads_up(node: Node, leave: tuple[Move, ...]) -> bool:
    return node.barrier >= 0 or node.leave == leave


def _as_checks(moves: tuple[Move, ...]) -> tuple[Move, ...]:
    return tuple(move if move.is_check else replace(move, is_check=True) for move in moves)


def _mask(nodes: tuple[int, ...]) -> int:
    mask = 0
    for node in nodes:
        mask |= 1 << node
    return mask


def _round_of(node: Node) -> tuple[int, int] | None:
    loops = dict(node.loops)
    return (loops["round"], loops.get("pair", 0)) if "round" in loops else None
