"""Tell states apart by what is at hand in them, not by where in the plan they stand.

Keeps: L3, two states with the same local look, at places that behave alike, behave alike; L4, a
state moved to places that behave alike has the same local look there, or the proof itself is wrong.
"""

from coordinator.core.plan import Move, Plan
from coordinator.core.state import Lane, Meeting, OpenPrompt, State
from coordinator.prove.canonical import ENDING, WAITING
from coordinator.prove.moves import Node
from coordinator.prove.pieces import Pieces, Places, look_of, moves_of

Look = tuple[object, ...]


class ProofError(AssertionError):
    """The proof contradicts itself; nothing that it says may be believed."""


class OutOfOrder(Exception):  # noqa: N818 (not an error: what is alike is then not looked for)
    """A lane has done something behind a cut before all that is before it."""


class Local:
    """Local looks of the states of one plan, and states moved from place to place."""

    def __init__(self, plan: Plan, pieces: Pieces) -> None:
        self._plan = plan
        self._pieces = pieces
        self._looks: dict[tuple[int, int, Lane], Look] = {}

    def places_of(self, state: State, before: Places = ()) -> Places:
        """Return for each lane the piece of its first node that is not done.

        Once it stops or aborts nobody stands anywhere any more: then it stays where it was.
        """
        if state.phase in ENDING:
            return before
        places = []
        for nodes, lane in zip(self._plan.lanes, state.lanes, strict=True):
            first, last = nodes[0], nodes[-1]
            remaining = ~(lane.done >> first)
            lowest = (remaining & -remaining).bit_length() - 1
            places.append(self._pieces.piece_of(min(first + lowest, last)))
        return tuple(places)

    def look(self, node: Node, places: Places) -> Look:
        """Return what a state looks like from its places."""
        state = node.state
        return (
            state.phase,
            tuple(
                self._lane_look(number, place, lane)
                for number, (place, lane) in enumerate(zip(places, state.lanes, strict=True))
            ),
            tuple(
                (self._joined(barrier, places), meeting)
                for barrier, meeting in enumerate(state.meetings)
                if meeting is not WAITING and meeting != WAITING
            ),
            tuple(signal.value for signal in state.signals),
            state.tripped,
            state.zones,
            tuple(
                one._replace(node=one.node - self._pieces.starts[one.lane][places[one.lane]])
                for one in state.prompts
            ),
            state.hold_us,
            node.silent,
            node.causes,
        )

    def _lane_look(self, number: int, place: int, lane: Lane) -> Look:
        key = (number, place, lane)
        known = self._looks.get(key)
        if known is None:
            known = self._looks[key] = self._make_look(number, place, lane)
        return known

    def _make_look(self, number: int, place: int, lane: Lane) -> Look:
        first = self._plan.lanes[number][0]
        start, end = self._pieces.starts[number][place], self._pieces.ends[number][place]
        if lane.done:
            before, behind = (1 << start) - (1 << first), lane.done >> end
            if lane.done & before != before or behind:
                raise OutOfOrder
        return (
            lane.done >> start,
            lane.node - start if lane.node >= 0 else lane.node - 1_000,
            tuple((node - start, fault, count) for node, fault, count in lane.attempts),
            tuple(look_of(move) for move in lane.queue),
            lane._replace(done=0, node=0, attempts=(), queue=()),
        )

    def _joined(self, barrier: int, places: Places) -> Look:
        joined = self._plan.barriers[barrier]
        return tuple(
            (lane, self._pieces.where(lane, places[lane], node))
            for lane, node in zip(joined.lanes, joined.nodes, strict=True)
        )

    def move(self, node: Node, source: "Local", before: Places, after: Places) -> Node:
        """Return a state as it is at other places that behave alike, there or in another plan.

        Args:
            node: The state.
            source: Of the plan that it is a state of.
            before: Where it stands in that plan.
            after: Where it is to stand in this one.
        """
        if source is self and before == after:
            return node
        state = node.state
        if state.phase in ENDING:
            return node
        shifts = tuple(
            starts[there] - old_starts[here]
            for starts, old_starts, here, there in zip(
                self._pieces.starts, source._pieces.starts, before, after, strict=True
            )
        )
        lanes = tuple(
            self._move_lane(source, number, shift, after[number], lane)
            for number, (shift, lane) in enumerate(zip(shifts, state.lanes, strict=True))
        )
        prompts = tuple(self._move_prompt(one, shifts[one.lane]) for one in state.prompts)
        moved = state._replace(
            lanes=lanes,
            meetings=self._move_meetings(source, state.meetings, before, shifts),
            prompts=prompts,
        )
        found = Node(moved, node.silent, node.causes)
        if self.look(found, after) != source.look(node, before):
            raise ProofError(f"a state looks different at {after} than at {before}")
        return found

    @staticmethod
    def _move_prompt(one: OpenPrompt, shift: int) -> OpenPrompt:
        return one._replace(node=one.node + shift if one.node >= 0 else one.node)

    def _move_lane(self, source: "Local", number: int, shift: int, place: int, lane: Lane) -> Lane:
        if not shift and source is self:
            return lane
        nodes = self._plan.lanes[number]
        start = self._pieces.starts[number][place]
        here = (lane.done >> (start - shift)) << start
        node = lane.node + shift if lane.node >= 0 else lane.node
        return lane._replace(
            done=(1 << start) - (1 << nodes[0]) | here,
            node=node,
            attempts=tuple((at + shift, fault, count) for at, fault, count in lane.attempts),
            queue=self._move_queue(source, lane.queue, lane.node, node),
        )

    def _move_queue(
        self, source: "Local", queue: tuple[Move, ...], before: int, after: int
    ) -> tuple[Move, ...]:
        if not queue:
            return ()
        here, there = moves_of(source._plan.nodes[before]), moves_of(self._plan.nodes[after])
        return tuple(there[here.index(move)] for move in queue)

    def _move_meetings(
        self,
        source: "Local",
        meetings: tuple[Meeting, ...],
        before: Places,
        shifts: tuple[int, ...],
    ) -> tuple[Meeting, ...]:
        moved = [WAITING] * len(self._plan.barriers)
        for barrier, meeting in enumerate(meetings):
            if meeting == WAITING:
                continue
            joined = source._plan.barriers[barrier]
            # Seen from a lane that stands at it or has just passed it: others may be far away.
            node = next(
                node + shifts[lane]
                for lane, node in zip(joined.lanes, joined.nodes, strict=True)
                if node in source._pieces.window(lane, before[lane])
            )
            moved[self._plan.nodes[node].barrier] = meeting
        return tuple(moved)
