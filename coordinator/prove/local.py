"""Tell states apart by what is at hand in them, not by where in the plan they stand.

Invariants: PV12, two states with the same local look, at places that behave alike, behave alike;
PV13, a state moved to a place that behaves alike has the same local look there, or nothing is taken
as alike.
"""

from coordinator.core.plan import Move, Plan
from coordinator.core.state import Commanded, Lane, Meeting, Pending, Situation, State
from coordinator.prove.canonical import ENDING, WAITING
from coordinator.prove.moves import Node
from coordinator.prove.parts import Look, Parts
from coordinator.prove.pieces import AT, Pieces, Place, Places, look_of

_LookPart = tuple[object, ...]


class ProofError(Exception):
    """The proof contradicts itself; nothing that it says may be believed."""


class OutOfOrder(Exception):  # noqa: N818 (not an error: what is alike is then not looked for)
    """A lane has done something behind a cut before all that is before it."""


class Local:
    """Local looks of the states of one plan, and states moved from place to place."""

    def __init__(self, plan: Plan, pieces: Pieces, parts: Parts[object]) -> None:
        """Prepare; looks are made of numbers of `parts`, the same for plans that share them."""
        self.plan = plan
        self.pieces = pieces
        self._parts = parts
        self._looks: dict[tuple[int, Place, Lane], int] = {}
        self._places: dict[object, Place] = {}

    def places_of(self, state: State, before: Places = ()) -> Places:
        """Return where each lane is.

        Once it stops or aborts nobody stands anywhere any more: then it stays where it was.

        Raises:
            OutOfOrder: Part of a piece is done that is not the next to be done.
        """
        if state.phase in ENDING:
            return before
        places = []
        for number, lane in enumerate(state.lanes):
            key = number, lane.done, lane.node, lane.attempts
            known = self._places.get(key)
            if known is None:
                known = self._places[key] = self._place_of(number, lane)
            places.append(known)
        return tuple(places)

    def _place_of(self, number: int, lane: Lane) -> Place:
        nodes, pieces = self.plan.lanes[number], self.pieces
        if not nodes:
            return Place(0)  # The party has nothing to do in this sequence.
        lowest = pieces.first_open(number, lane.done)
        if lowest > nodes[-1]:
            return Place(len(pieces.starts[number]) - 1)
        piece, skipped = pieces.piece_of(lowest), 0
        for later in range(piece + 1, len(pieces.starts[number])):
            whole = (1 << pieces.ends[number][later]) - (1 << pieces.starts[number][later])
            done = lane.done & whole
            if done == whole:
                skipped |= 1 << later
            elif done:
                raise OutOfOrder
        place = Place(piece, skipped)
        if lane.node >= 0 and pieces.number(number, place, lane.node) is None:
            place = place._replace(at=lane.node)
        failed = dict.fromkeys(node for node, _, _ in lane.attempts)
        far = tuple(node for node in failed if pieces.number(number, place, node) is None)
        return place._replace(failed=far) if far else place

    def look(self, node: Node, places: Places) -> Look:
        """Return what a state looks like from its places."""
        state = node.state
        looks = [
            self._lane_look(number, place, lane)
            for number, (place, lane) in enumerate(zip(places, state.lanes, strict=True))
        ]
        rest = (
            state.phase,
            tuple(
                (self._joined(barrier, places), meeting)
                for barrier, meeting in enumerate(state.meetings)
                if meeting is not WAITING and meeting != WAITING
            ),
            state.signals,
            state.tripped,
            state.zones,
            tuple(
                one._replace(node=self._number(one.lane, places[one.lane], one.node))
                for one in state.prompts
            )
            if state.prompts
            else (),
            state.hold_us,
            state.acted,
            node.silent,
            node.causes,
            node.memory,
        )
        return (*looks, self._parts.number(rest))

    def read(self, look: Look) -> tuple[object, ...]:
        """Return what the numbers of a look stand for: each lane's, then the rest."""
        return tuple(self._parts.values[part] for part in look)

    def _number(self, lane: int, place: Place, node: int) -> int:
        number = self.pieces.number(lane, place, node)
        if number is None:
            raise OutOfOrder
        return number

    def _lane_look(self, number: int, place: Place, lane: Lane) -> int:
        key = (number, place, lane)
        known = self._looks.get(key)
        if known is None:
            look = self._make_look(number, place, lane)
            known = self._looks[key] = self._parts.number(look)
        return known

    def _make_look(self, number: int, place: Place, lane: Lane) -> _LookPart:
        return (
            self.pieces.own(number, place, lane.done),
            self._number(number, place, lane.node) if lane.node >= 0 else lane.node - AT,
            tuple(
                (self._number(number, place, node), fault, count)
                for node, fault, count in lane.attempts
            ),
            tuple(look_of(move) for move in lane.queue),
            self.pieces.marks(number, lane.queue),
            lane._replace(done=0, node=0, attempts=(), at=_with_queue(lane.at, ())),
        )

    def _joined(self, barrier: int, places: Places) -> _LookPart:
        joined = self.plan.barriers[barrier]
        return tuple(
            (lane, self.pieces.where(lane, places[lane], node))
            for lane, node in zip(joined.lanes, joined.nodes, strict=True)
        )

    def move(
        self,
        node: Node,
        source: "Local",
        before: Places,
        after: Places,
        *,
        is_alike: bool = True,
    ) -> Node:
        """Return a state as it is at other places that behave alike, there or in another plan.

        Args:
            node: The state.
            source: Of the plan that it is a state of.
            before: Where it stands in that plan.
            after: Where it is to stand in this one.
            is_alike: Whether both places behave alike; then it must look the same at both.
        """
        state = node.state
        if (source is self and before == after) or state.phase in ENDING:
            return node
        mover = _Mover(source, self, before, after)
        lanes = tuple(mover.lane(number, lane) for number, lane in enumerate(state.lanes))
        prompts = tuple(one._replace(node=mover.node(one.lane, one.node)) for one in state.prompts)
        meetings = mover.meetings(state.meetings)
        moved = state._replace(lanes=lanes, meetings=meetings, prompts=prompts)
        found = Node(moved, node.silent, node.causes, node.memory)
        if is_alike and self.look(found, after) != source.look(node, before):
            raise ProofError(f"a state looks different at {after} than at {before}")
        return found

    def done_at(self, number: int, place: Place, own: int) -> int:
        """Return the mask of what is done of a lane, `own` of its piece."""
        nodes = self.plan.lanes[number]
        if not nodes:
            return 0
        whole = (1 << nodes[-1] + 1) - (1 << nodes[0])
        start = self.pieces.starts[number][place.piece]
        return whole & ~self.pieces.remaining(number, place) | own << start


def _with_queue(at: Situation, queue: tuple[Move, ...]) -> Situation:
    """Return a situation with other moves queued, where it has any."""
    return at if isinstance(at, Pending | Commanded) else at._replace(queue=queue)


class _Mover:
    """Moves what is in a state from places of one plan to places of one that behave alike."""

    def __init__(self, source: Local, target: Local, before: Places, after: Places) -> None:
        self._source = source
        self._target = target
        self._before = before
        self._after = after

    def node(self, lane: int, node: int) -> int:
        """Return the node there that is what this one is here."""
        if node < 0:
            return node
        number = self._source.pieces.number(lane, self._before[lane], node)
        if number is None:
            raise OutOfOrder
        there = self._target.pieces.sight(lane, self._after[lane]).get(number)
        if there is None:
            raise OutOfOrder
        return there

    def lane(self, number: int, lane: Lane) -> Lane:
        """Return a lane as it is there."""
        here, there = self._before[number], self._after[number]
        own = self._source.pieces.own(number, here, lane.done)
        node = self.node(number, lane.node)
        return lane._replace(
            done=self._target.done_at(number, there, own),
            node=node,
            attempts=tuple(
                (self.node(number, at), fault, count) for at, fault, count in lane.attempts
            ),
            at=_with_queue(lane.at, self._queue(number, lane.queue)),
        )

    def _queue(self, lane: int, queue: tuple[Move, ...]) -> tuple[Move, ...]:
        if not queue:
            return ()
        here = self._source.pieces.moves(lane, self._before[lane])
        there = self._target.pieces.moves(lane, self._after[lane])
        moved = []
        for move in queue:
            origin = next((one for one, known in here.items() if known == move), None)
            if origin is None:
                moved.append(self._as_it_is(lane, move))
            elif origin in there:
                moved.append(there[origin])
            else:
                raise OutOfOrder
        return tuple(moved)

    def _as_it_is(self, lane: int, move: Move) -> Move:
        """Return a move of a step out of sight, where nobody asks for more of it than its look."""
        if self._target.pieces.marks(lane, (move,)):
            raise OutOfOrder
        return move

    def meetings(self, meetings: tuple[Meeting, ...]) -> tuple[Meeting, ...]:
        """Return what happens at the barriers there."""
        plan = self._target.plan
        moved = [WAITING] * len(plan.barriers)
        for barrier, meeting in enumerate(meetings):
            if meeting == WAITING:
                continue
            joined = self._source.plan.barriers[barrier]
            # Seen from a lane that stands at it or has just passed it: others may be far away.
            node = next(
                self.node(lane, node)
                for lane, node in zip(joined.lanes, joined.nodes, strict=True)
                if self._source.pieces.number(lane, self._before[lane], node) is not None
            )
            moved[plan.nodes[node].barrier] = meeting
        return tuple(moved)
