"""Judge what steps move among: loads overhead, zones.

Invariants: SQ18, nothing moves while an action of the sequence makes an interlock active, unless it
says why it may; SQ19, no two arms hold a zone and wait for the other's.
"""

from itertools import pairwise

from coordinator.sequence.compiler.expand import Input
from coordinator.sequence.compiler.nodes import Built
from coordinator.sequence.rules.ahead import Ahead


def check_brought(given: Input, built: tuple[Built, ...], ahead: Ahead) -> None:
    """Tell of steps that may move while an action keeps an interlock active, without a reason."""
    places = {name: place for place, name in enumerate(given.cell.interlocks)}
    clearing = [one for one in built if one.action.clears]
    told: dict[tuple[str, int], bool] = {}
    for bringer in built:
        for name in bringer.action.brings:
            clears = [
                one.index
                for one in clearing
                if name in one.action.clears and not ahead.is_before(one.index, bringer.index)
            ]
            for one in built:
                is_reasoned = places.get(name, -1) in dict(one.node.exceptions)
                is_safe = is_reasoned or ahead.is_before(one.index, bringer.index)
                is_safe = is_safe or any(ahead.is_before(clear, one.index) for clear in clears)
                if not is_safe and (name, one.index) not in told:
                    told[name, one.index] = True
                    _tell_brought(given, one, bringer, name)


def _tell_brought(given: Input, one: Built, bringer: Built, name: str) -> None:
    line, _ = given.document.place(bringer.item.trail)
    what = f"{one.node.name!r} may move while {bringer.node.name!r} of line {line} keeps "
    what += f"{name!r} active"
    must = "must name an exception with its reason, or it would only be held"
    do = f"list an exception from {name!r}, or put a barrier between the two"
    given.tell((*one.item.trail, "do"), "SEQ071", what, must, do)


def check_zones(given: Input, built: tuple[Built, ...], ahead: Ahead) -> None:
    """Tell of two arms that go between the same two zones in opposite orders, at any time."""
    lanes: dict[int, list[Built]] = {}
    for one in built:
        lanes.setdefault(one.item.lane, []).append(one)
    passages = [
        (earlier, later)
        for steps in lanes.values()
        for earlier, later in pairwise(steps)
        if earlier.node.move is not None and later.node.move is not None
        if -1 not in (earlier.node.move.zone, later.node.move.zone)
        if earlier.node.move.zone != later.node.move.zone
    ]
    for number, (earlier, later) in enumerate(passages):
        for other_earlier, other_later in passages[:number]:
            is_same_lane = earlier.item.lane == other_earlier.item.lane
            zones = (earlier.action.zone, later.action.zone)
            is_crossed = zones == (other_later.action.zone, other_earlier.action.zone)
            is_ordered = ahead.is_before(later.index, other_later.index)
            is_ordered = is_ordered or ahead.is_before(other_later.index, later.index)
            if is_same_lane or not is_crossed or is_ordered:
                continue
            line, _ = given.document.place(other_later.item.trail)
            what = f"{later.node.name!r} goes from zone {zones[0]!r} to {zones[1]!r}, while "
            what += f"{other_later.node.name!r} of line {line} goes the other way"
            given.tell((*later.item.trail, "do"), "SEQ065", what)
