"""Cut each lane where nothing later looks back, and tell which pieces of a plan behave alike.

A make-up does the same few things over and over: for each bolt, each pair, each round. Places at
which every lane has the same steps at hand, before and behind it behave alike whatever the bolts
are called, since the core reads neither names nor parameters. So what can happen there needs to be
walked through once.

Invariants: PV10, alike means equal in all that the core reads of a plan but names, parameters,
places in files and what is proved, and in all that the author's own properties speak of; PV11, no
recovery and no paired span reaches across a cut.
Source: symmetry reduction, Clarke, Grumberg, Peled, Model Checking, 1999, chapter 14.
"""

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from coordinator.core.plan import Move, Node, NodeKind, Plan, ToolOn
from coordinator.prove.own import Marks, Own
from coordinator.sequence.compiler.own_properties import moves_of


class Place(NamedTuple):
    """Where a lane is."""

    piece: int
    """The piece of its first node that is not done."""
    skipped: int = 0
    """Mask over later pieces that are done already: the lane has gone back over others."""
    at: int = -1
    """The node at hand where that is out of sight of the piece: the lane is on its way back."""
    failed: tuple[int, ...] = ()
    """Nodes out of sight of which failures are remembered: it has gone back from there."""


Places = tuple[Place, ...]
"""For each lane where it is."""
AT = 1_000
"""Stands for `Place.at` among the nodes counted from the first of a piece; more for `failed`."""
MoveLook = tuple[str, int, int, str, int]
Origin = tuple[str, int]
"""Of what a move is: of a step, by its number in sight, of leaving, of a re-check; and which."""


def look_of(move: Move) -> MoveLook:
    """Return what the core reads of a move."""
    return move.action, move.timeout_us, move.no_progress_us, move.on_hold, move.zone


def _tool_moves(plan: Plan, node: int) -> tuple[Move, ...]:
    off, on = plan.tool_on.get(node, ToolOn())
    return (*off, *on)


class Pieces:
    """The pieces of every lane of a plan."""

    def __init__(
        self,
        plan: Plan,
        kinds: dict[object, int],
        *,
        is_cut: bool = True,
        own: Own | None = None,
    ) -> None:
        """Cut the lanes; without `is_cut`, or where nodes stand out of order, each is one piece.

        Args:
            plan: Whose lanes.
            kinds: Numbers given to places so far, of this plan or another; new ones are added.
            is_cut: Whether to cut at all.
            own: What the author wants proved; what moves are to it counts for what is alike.
        """
        self._plan = plan
        self._own = own if own is not None and own.properties else None
        in_order = all(
            nodes == tuple(range(nodes[0], nodes[0] + len(nodes))) for nodes in plan.lanes if nodes
        )
        self.starts = tuple(
            _cuts(plan, lane) if is_cut and in_order and nodes else nodes[:1] or (0,)
            for lane, nodes in enumerate(plan.lanes)
        )
        """For each lane the first node of each of its pieces."""
        self.ends = tuple(
            (*starts[1:], nodes[-1] + 1 if nodes else 0)
            for starts, nodes in zip(self.starts, plan.lanes, strict=True)
        )
        """For each lane one more than the last node of each of its pieces."""
        self._piece_of = [0] * len(plan.nodes)
        for starts, ends in zip(self.starts, self.ends, strict=True):
            for piece, (start, end) in enumerate(zip(starts, ends, strict=True)):
                self._piece_of[start:end] = [piece] * (end - start)
        self._numbers = kinds
        self._known: dict[Places, int] = {}
        self._kinds: dict[tuple[int, Place], int] = {}
        self._sights: dict[tuple[int, Place], dict[int, int]] = {}
        self._seen: dict[tuple[int, Place], dict[int, int]] = {}
        self._remaining: dict[tuple[int, Place], int] = {}
        self._moves: dict[tuple[int, Place], Mapping[Origin, Move]] = {}

    def piece_of(self, node: int) -> int:
        """Return the piece of its lane that a node is in."""
        return self._piece_of[node]

    def first_open(self, lane: int, done: int) -> int:
        """Return the first node of a lane that is not done; one more than its last if all are."""
        first = self._plan.lanes[lane][0]
        remaining = ~(done >> first)
        return first + (remaining & -remaining).bit_length() - 1

    def own(self, lane: int, place: Place, done: int) -> int:
        """Return the mask of what is done of the piece at a place, from its first node on."""
        start = self.starts[lane][place.piece]
        return done >> start & ((1 << self.ends[lane][place.piece] - start) - 1)

    def kind_of(self, places: Places) -> int:
        """Return a number that is the same for places that behave alike (PV10)."""
        known = self._known.get(places)
        if known is None:
            looks = tuple(self._kind_alone(lane, place) for lane, place in enumerate(places))
            key = (looks, tuple(self._links(places)))
            known = self._known[places] = self._numbers.setdefault(key, len(self._numbers))
        return known

    def _kind_alone(self, lane: int, place: Place) -> int:
        """Return a number that is the same where one lane by itself behaves alike."""
        known = self._kinds.get((lane, place))
        if known is None:
            look = self._look(lane, place)
            known = self._numbers.setdefault(look, len(self._numbers))
            self._kinds[lane, place] = known
        return known

    def after(self, lane: int, place: Place) -> Place:
        """Return where a lane is once its piece is done."""
        last = len(self.starts[lane]) - 1
        later = next(
            (one for one in range(place.piece + 1, last + 1) if not place.skipped >> one & 1), last
        )
        return Place(later, place.skipped & ~((2 << later) - 1))

    def remaining(self, lane: int, place: Place) -> int:
        """Return the mask of all nodes of a lane that are not done while it is at a place."""
        known = self._remaining.get((lane, place))
        if known is None:
            known = 0
            for piece in range(place.piece, len(self.starts[lane])):
                if not place.skipped >> piece & 1:
                    known |= (1 << self.ends[lane][piece]) - (1 << self.starts[lane][piece])
            self._remaining[lane, place] = known
        return known

    def sight(self, lane: int, place: Place) -> Mapping[int, int]:
        """Return the nodes that the core may look at while a lane is at a place, by their number.

        They are numbered from the first of the piece. One is before it, whose barrier may not be
        over yet; behind it stand those that come next, up to a step.
        """
        known = self._sights.get((lane, place))
        if known is None:
            known = self._sights[lane, place] = self._make_sight(lane, place)
        return known

    def number(self, lane: int, place: Place, node: int) -> int | None:
        """Return the number of a node in sight, else None."""
        known = self._seen.get((lane, place))
        if known is None:
            sight = self.sight(lane, place)
            known = self._seen[lane, place] = {at: number for number, at in sight.items()}
        return known.get(node)

    def moves(self, lane: int, place: Place) -> Mapping[Origin, Move]:
        """Return every move that a lane may have to make while it is at a place, by where it is of.

        Places that behave alike have the same moves, by the same origins; of others those of what
        both have in sight are.
        """
        known = self._moves.get((lane, place))
        if known is None:
            nodes = self.sight(lane, place).items()
            known = {
                (f"node {number}", at): move
                for number, node in nodes
                for at, move in enumerate(moves_of(self._plan.nodes[node]))
            }
            known |= {
                (f"tool at {number}", at): move
                for number, node in nodes
                for at, move in enumerate(_tool_moves(self._plan, node))
            }
            known |= {("leave", at): one for at, one in enumerate(self._leave_before(lane, place))}
            checks = (move for one in self._plan.interlocks for move in one.rechecks)
            known |= {("recheck", at): move for at, move in enumerate(checks)}
            self._moves[lane, place] = known
        return known

    def marks(self, lane: int, moves: tuple[Move, ...]) -> tuple[Marks, ...]:
        """Return what moves of a lane are to the author's own properties; empty without any."""
        own = self._own
        return () if own is None else tuple(own.marks(lane, move) for move in moves)

    def _leave_before(self, lane: int, place: Place) -> tuple[Move, ...]:
        """Return the moves by which the last step before a place is left."""
        start = self.starts[lane][place.piece]
        before = (self._plan.nodes[one] for one in reversed(self._plan.lanes[lane]) if one < start)
        return next((one.leave for one in before if one.move is not None), ())

    def _make_sight(self, lane: int, place: Place) -> dict[int, int]:
        nodes = self._plan.lanes[lane]
        if not nodes:
            return {}
        start, end = self.starts[lane][place.piece], self.ends[lane][place.piece]
        sight = {node - start: node for node in range(max(nodes[0], start - 1), end)}
        number, later = end - start, place
        while self.after(lane, later).piece > later.piece:
            later = self.after(lane, later)
            ahead = range(self.starts[lane][later.piece], self.ends[lane][later.piece])
            for node in ahead:
                sight[number] = node
                number += 1
                if self._plan.nodes[node].kind is NodeKind.STEP:
                    break
            else:
                continue
            break
        if place.at >= 0:
            sight[AT] = place.at
        sight.update(enumerate(place.failed, AT + 1))
        return sight

    def where(self, lane: int, place: Place, node: int) -> int | str:
        """Return where a node stands seen from a place: its number, or on which side of sight."""
        if node < 0:
            return "nowhere"
        number = self.number(lane, place, node)
        if number is not None:
            return number
        return "ahead" if self.remaining(lane, place) >> node & 1 else "done"

    def _look(self, lane: int, place: Place) -> tuple[object, ...]:
        length = self.ends[lane][place.piece] - self.starts[lane][place.piece]
        is_last = self.after(lane, place).piece <= place.piece
        sight = self.sight(lane, place)
        looks = ((number, self._node_look(lane, place, node)) for number, node in sight.items())
        leave = tuple(look_of(move) for move in self._leave_before(lane, place))
        marks = self.marks(lane, tuple(self.moves(lane, place).values()))
        return (is_last, length, leave, marks, *looks)

    def _node_look(self, lane: int, place: Place, index: int) -> tuple[object, ...]:
        node = self._plan.nodes[index]
        rules = tuple(
            (
                rule.fault,
                rule.attempts,
                tuple(look_of(move) for move in rule.recover),
                self.where(lane, place, rule.again_from),
                rule.then,
                rule.prompt,
            )
            for rule in node.rules
        )
        return (
            node.kind,
            tuple(self.where(lane, place, before) for before in node.after),
            None if node.move is None else look_of(node.move),
            rules,
            tuple((one.result, one.fault) for one in node.windows),
            tuple(interlock for interlock, _ in node.exceptions),
            node.permissives,
            tuple(look_of(move) for move in node.rechecks),
            tuple(look_of(move) for move in node.leave),
            tuple(look_of(move) for move in _tool_moves(self._plan, index)),
            self._goes_back_beyond(lane, place, node),
            node.record is not None,
            node.span >= 0,
            node.prompt,
            node.is_witness,
        )

    def _goes_back_beyond(self, lane: int, place: Place, node: Node) -> tuple[bool, ...]:
        """Tell whether a new bolt, and a round back, undo what is done outside the piece.

        Empty where neither may be answered. Where they do, the lane goes elsewhere by it.
        """
        here = dict(node.loops)
        if node.span < 0 or "round" not in here:
            return ()
        start, end = self.starts[lane][place.piece], self.ends[lane][place.piece]
        inside = self.remaining(lane, place) | (1 << end) - (1 << start)
        found = [False, False]
        for (number, pair), one in self._plan.rounds[lane].items():
            if one.nodes & ~inside and number <= here["round"]:
                found[0] |= pair == here.get("pair", 0)
                found[1] |= number >= here["round"] - 1
        return tuple(found)

    def _links(self, places: Places) -> Iterator[tuple[object, ...]]:
        """Yield every barrier and paired span in sight, and which nodes it joins."""
        nodes = self._plan.nodes
        seen: list[int] = []
        for lane, place in enumerate(places):
            for node in self.sight(lane, place).values():
                if nodes[node].barrier >= 0 and nodes[node].barrier not in seen:
                    seen.append(nodes[node].barrier)
        number = {barrier: number for number, barrier in enumerate(seen)}

        def where(lane: int, node: int) -> int | str:
            return self.where(lane, places[lane], node)

        for index in seen:
            barrier = self._plan.barriers[index]
            joined = zip(barrier.lanes, barrier.nodes, barrier.next_nodes, strict=True)
            ends = tuple((lane, where(lane, at), where(lane, then)) for lane, at, then in joined)
            yield barrier.timeout_us, barrier.window_us, barrier.span >= 0, ends
            if barrier.span >= 0:
                span = self._plan.spans[barrier.span]
                inside = tuple(
                    tuple(where(lane, node) for node in own)
                    for lane, own in zip(span.lanes, span.nodes, strict=True)
                )
                pair = number.get(span.opens), number.get(span.closes)
                yield span.lanes, inside, pair, span.balance_nm, span.stop_us


def _cuts(plan: Plan, lane: int) -> tuple[int, ...]:
    """Return the nodes of a lane before which nothing is looked back at."""
    nodes = plan.lanes[lane]
    before: dict[int, int] = {}
    for node in nodes:
        before[node] = 0
        for one in plan.nodes[node].after:
            before[node] |= before.get(one, 0) | 1 << one
    cuts = [nodes[0]]
    for place, node in enumerate(nodes[1:], start=1):
        earlier = sum(1 << one for one in nodes[:place])
        follows = before[node] & earlier == earlier
        follows = follows and all(before[later] >> node & 1 for later in nodes[place + 1 :])
        if follows and not _reaches_back(plan, lane, node):
            cuts.append(node)
    return tuple(cuts)


def _reaches_back(plan: Plan, lane: int, cut: int) -> bool:
    """Tell whether a recovery or a paired span reaches from a cut, or behind it, to before it."""
    later = [node for node in plan.lanes[lane] if node >= cut]
    if any(0 <= rule.again_from < cut for node in later for rule in plan.nodes[node].rules):
        return True
    for span in plan.spans:
        if lane in span.lanes:
            place = span.lanes.index(lane)
            opens = plan.barriers[span.opens].nodes[place]
            closes = plan.barriers[span.closes].nodes[place]
            if opens < cut <= closes:
                return True
    return False
