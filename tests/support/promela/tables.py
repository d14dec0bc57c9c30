"""Write a plan as the tables that the Promela model reads (`meaning.pml`).

Nothing is decided here: what a rule, a barrier or a span leads to stands in the model.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from coordinator.best_order.lane_order import NOWHERE, Places
from coordinator.core.plan import (
    Exhausted,
    InterlockKind,
    Move,
    Node,
    NodeKind,
    Option,
    Plan,
    Rule,
)

KINDS = ("STEP", "MEET", "HOLD_POINT", "WITNESS", "END", "STUCK")
OPTIONS = tuple(Option)
NO_FAULT = Rule("")
"""What follows a fault for which nothing is written: everybody holds."""
NOT_REPORTED = ("silent", "outcome_unknown")
"""No party says so of itself; the model has them as what goes wrong."""


class Tables:
    """Tables of numbers as C reads them."""

    def __init__(self) -> None:
        self._lines: list[str] = []

    def add(self, name: str, values: Iterable[int]) -> None:
        """Add one; an empty one holds a 0, since C has no empty tables."""
        text = ",".join(str(int(value)) for value in values) or "0"
        self._lines.append(f"static const int {name}[] = {{{text}}};")

    def text(self) -> str:
        """Return all of them."""
        return "\n".join(self._lines)


@dataclass(slots=True)
class MoveTable:
    """Every move of a plan, each once."""

    numbers: dict[tuple[object, ...], int]
    moves: list[Move]
    listed: list[int]
    """Lists of moves one after the other; other tables say where each begins."""

    def number(self, move: Move) -> int:
        """Return the number of a move."""
        key = (move.action, move.parameters, move.zone)
        if key not in self.numbers:
            self.numbers[key] = len(self.moves)
            self.moves.append(move)
        return self.numbers[key]

    def place_list(self, moves: Sequence[Move]) -> tuple[int, int]:
        """Return where a list of moves begins and how long it is."""
        begin = len(self.listed)
        self.listed += [self.number(move) for move in moves]
        return begin, len(moves)


def classes(node: Node) -> tuple[tuple[Rule, int], ...]:
    """Return a step's rules, each with how many faults it is for."""
    groups: dict[Rule, int] = {}
    for rule in node.rules:
        alike = replace(rule, fault="")
        if rule.fault not in NOT_REPORTED and alike != NO_FAULT:
            groups[alike] = groups.get(alike, 0) + 1
    return tuple(groups.items())


def add_nodes(tables: Tables, plan: Plan, places: Places, moves: MoveTable) -> None:
    """Add what the model asks of each place."""
    at = [None if one == NOWHERE else plan.nodes[one] for one in places.nodes]
    stuck = [one != NOWHERE and places.of.get(one) != at for at, one in enumerate(places.nodes)]
    tables.add(
        "kind",
        (
            KINDS.index("STUCK" if is_stuck else kind_of(one))
            for one, is_stuck in zip(at, stuck, strict=True)
        ),
    )
    tables.add("move_of", (moves.number(one.move) if one and one.move else -1 for one in at))
    tables.add("asks", (one.prompt + 1 if one else 0 for one in at))
    tables.add("round_of", (dict(one.loops).get("round", 0) if one else 0 for one in at))
    tables.add("pair_of", (dict(one.loops).get("pair", 0) if one else 0 for one in at))
    tables.add("gates", (gates(plan, one) for one in at))
    tables.add("released", (_released(plan, index) for index in places.nodes))
    tables.add("own_span", (one.span if one else -1 for one in at))
    for name, lists in (
        ("again", [one.rechecks if one else () for one in at]),
        ("leave", [one.leave if one else () for one in at]),
    ):
        _add_lists(tables, name, lists, moves)
    tables.add("starts", places.starts)


def add_rules(tables: Tables, plan: Plan, places: Places, moves: MoveTable) -> None:
    """Add what follows each kind of fault at each place."""
    rows: list[tuple[Rule, int]] = []
    begins, counts = [], []
    for index in places.nodes:
        own = classes(plan.nodes[index]) if index != NOWHERE else ()
        begins.append(len(rows))
        counts.append(len(own))
        rows += own
    tables.add("rules_from", begins)
    tables.add("rules_count", counts)
    tables.add("attempts", (rule.attempts for rule, _ in rows))
    tables.add("alike", (count for _, count in rows))
    tables.add("back_to", (places.of.get(rule.again_from, 0) for rule, _ in rows))
    tables.add("outcome", (_outcome(rule) for rule, _ in rows))
    _add_lists(tables, "recover", [rule.recover for rule, _ in rows], moves)


def add_meetings(tables: Tables, plan: Plan, places: Places, moves: MoveTable) -> None:
    """Add barriers and paired spans."""
    begins, lanes, ats, first = [0], [], [], []
    for barrier in plan.barriers:
        for lane, node, after in zip(barrier.lanes, barrier.nodes, barrier.next_nodes, strict=True):
            move = plan.nodes[after].move if after >= 0 else None
            lanes.append(lane)
            ats.append(places.of.get(node, 0))
            first.append(-1 if move is None else moves.number(move))
        begins.append(len(lanes))
    for name, values in (
        ("meets_from", begins),
        ("meets_lane", lanes),
        ("meets_at", ats),
        ("meets_move", first),
    ):
        tables.add(name, values)
    members = sorted(
        (node.barrier, node.lane, places.of[index])
        for index, node in enumerate(plan.nodes)
        if node.barrier >= 0 and index in places.of
    )
    for name, column in (("member_of", 0), ("member_lane", 1), ("member_at", 2)):
        tables.add(name, (one[column] for one in members))
    _add_spans(tables, plan, places)


def _add_spans(tables: Tables, plan: Plan, places: Places) -> None:
    sides: list[int] = []
    opens: list[int] = []
    closes: list[int] = []
    span_of = [-1] * len(places.nodes)
    for number, span in enumerate(plan.spans):
        for lane in range(len(plan.parties)):
            if lane not in span.lanes:
                sides.append(-1)
                continue
            sides.append(len(opens))
            begin, end = (_place_in(plan, places, one, lane) for one in (span.opens, span.closes))
            opens.append(begin)
            closes.append(end)
            span_of[begin + 1 : end + 1] = [number] * (end - begin)
    tables.add("span_side", sides)
    tables.add("opens", opens)
    tables.add("closes", closes)
    tables.add("span_of", span_of)


def _place_in(plan: Plan, places: Places, barrier: int, lane: int) -> int:
    met = plan.barriers[barrier]
    return places.of.get(met.nodes[met.lanes.index(lane)], 0)


def add_floor(tables: Tables, plan: Plan, moves: MoveTable) -> None:
    """Add interlocks, what they have checked again, prompts and zones."""
    _add_lists(tables, "check", [one.rechecks for one in plan.interlocks], moves)
    tables.add(
        "acts",
        (
            sum(
                1 << index
                for index, one in enumerate(plan.interlocks)
                if one.signal == signal and one.rechecks
                and one.kind is not InterlockKind.PERMISSIVE
            )
            for signal in range(len(plan.signals))
        ),
    )  # fmt: skip
    offers = [sum(1 << OPTIONS.index(option) for option, _ in one.options) for one in plan.prompts]
    unknown = (Option.AGAIN, Option.BY_HAND, Option.ABORT)
    table = [0, *offers, *[0] * (251 - len(offers) - 1)]
    tables.add("offers", [*table, sum(1 << OPTIONS.index(option) for option in unknown)])
    tables.add("is_arm", (one.is_arm for one in plan.parties))
    tables.add("moves_list", moves.listed)
    tables.add("zone_of", (one.zone for one in moves.moves))


def add_pulls(tables: Tables, plan: Plan, places: Places) -> tuple[int, int]:
    """Add which bolts are pulled where; return how many pulls and opposite bolts there are."""
    pulls = [
        (node.lane, places.of[index], node.record.bolt, node.record.round)
        for index, node in enumerate(plan.nodes)
        if node.record is not None and node.record.kind == "pull" and index in places.of
    ]
    for column, name in enumerate(("pull_lane", "pull_at", "pull_bolt", "pull_round")):
        tables.add(name, (one[column] for one in pulls))
    pairs: dict[tuple[int, int], None] = {}
    for span in plan.spans:
        inside = [plan.nodes[node].record for own in span.nodes for node in own]
        bolts = sorted({one.bolt for one in inside if one is not None and one.kind == "pull"})
        if len(bolts) == 2:
            pairs[bolts[0], bolts[1]] = None
    tables.add("pair_bolt", (bolt for pair in pairs for bolt in pair))
    return len(pulls), len(pairs)


def kind_of(node: Node | None) -> str:
    """Return what kind of place a node is."""
    if node is None:
        return "END"
    if node.kind is NodeKind.POINT:
        return "WITNESS" if node.is_witness else "HOLD_POINT"
    return "MEET" if node.kind is NodeKind.BARRIER else "STEP"


def gates(plan: Plan, node: Node | None) -> int:
    """Return the mask of signals that must be good for a step to move."""
    if node is None:
        return 0
    excepted = [index for index, _ in node.exceptions]
    needed = (
        one.signal
        for index, one in enumerate(plan.interlocks)
        if index not in excepted
        and (one.kind is not InterlockKind.PERMISSIVE or index in node.permissives)
    )
    return mask(needed)


def mask(numbers: Iterable[int]) -> int:
    """Return the mask of some numbers."""
    made = 0
    for number in numbers:
        made |= 1 << number
    return made


def _released(plan: Plan, node: int) -> int:
    """Return 1 for a step that a barrier releases, 2 where that opens a paired span."""
    found = [one.span >= 0 for one in plan.barriers if node != NOWHERE and node in one.next_nodes]
    return 0 if not found else 2 if any(found) else 1


def _outcome(rule: Rule) -> int:
    if rule.then is Exhausted.ASK:
        return rule.prompt + 1
    return -2 if rule.then is Exhausted.ABORT else -1


def _add_lists(
    tables: Tables, name: str, lists: Sequence[Sequence[Move]], moves: MoveTable
) -> None:
    at = [moves.place_list(one) for one in lists]
    tables.add(f"{name}_from", (begin for begin, _ in at))
    tables.add(f"{name}_count", (count for _, count in at))
