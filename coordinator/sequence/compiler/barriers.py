"""Decide which barriers of the lanes are the same meeting, and what lies between paired ones.

A barrier is met where its name and the loops around it (round 2, pair 3) agree.

A paired span lies between its barrier and the next one of the same two arms.

Invariants: SQ10, no barrier is met alone or twice, and barriers come in one order that suits every
lane.
"""

from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from itertools import pairwise

from coordinator.core.plan import Barrier, NodeKind, Span, Value
from coordinator.sequence.compiler.expand import Input, Item, Loops
from coordinator.sequence.compiler.references import Resolver, Scope, joint_group
from coordinator.sequence.models.cell_model import ParameterKind as Kind
from coordinator.sequence.models.sequence_model import BarrierModel, BarrierStep, DoStep, PointStep

Key = tuple[str, Loops]


@dataclass(frozen=True, slots=True)
class Meetings:
    """The barriers and spans of a plan, and where each node stands."""

    barriers: tuple[Barrier, ...]
    spans: tuple[Span, ...]
    barrier_of: dict[int, int]
    """Barrier of each barrier node."""
    span_of: dict[int, int]
    """Span of each step inside one."""
    is_sound: bool
    """Whether nothing was told about barriers; else spans are not known."""


def meetings(given: Input, items: tuple[Item, ...]) -> Meetings:
    """Return the barriers and spans of all lanes; an item's position is its node."""
    told = len(given.findings)
    met = _met(given, items)
    _check_declared(given, items)
    _check_pairing(given)
    _check_company(given, items, met)
    _check_order(given, items, met)
    if len(given.findings) > told:
        # Spans of barriers that do not meet would only tell the same mistake again.
        barriers = tuple(_barrier(given, items, key, lanes) for key, lanes in met.items())
        return Meetings(barriers, (), _places(met), {}, is_sound=False)
    return _with_spans(given, items, met, told)


def instance_name(name: str, loops: Loops) -> str:
    """Return a barrier's name with the loops around it, such as `pull (round 2, pair 3)`."""
    if not loops:
        return name
    around = ", ".join(f"{kind} {number}" for kind, number in loops).replace("_", " ")
    return f"{name} ({around})"


def _key(item: Item) -> Key | None:
    if isinstance(item.step, BarrierStep):
        return item.step.barrier, item.place.loops
    return None


def _met(given: Input, items: tuple[Item, ...]) -> dict[Key, dict[int, int]]:
    """Return the node in each lane of every meeting, in the order of the file."""
    found: dict[Key, dict[int, int]] = {}
    for node, item in enumerate(items):
        key = _key(item)
        if key is None:
            continue
        lanes = found.setdefault(key, {})
        if item.lane in lanes:
            first, _ = given.document.place(items[lanes[item.lane]].trail)
            what = f"barrier {instance_name(*key)!r} stands here again after line {first}"
            given.tell((*item.trail, "barrier"), "SEQ036", what)
        else:
            lanes[item.lane] = node
    return found


def _check_declared(given: Input, items: tuple[Item, ...]) -> None:
    declared = given.sequence.barriers
    for item in items:
        if isinstance(item.step, BarrierStep):
            here, name = (*item.trail, "barrier"), item.step.barrier
            given.knows(here, "SEQ033", "barrier", name, declared, of="barriers of this file")
    for name, model in declared.items():
        if model.timeout is None:
            what = f"barrier {name!r} gives no timeout"
            given.tell(("barriers", name), "SEQ066", what, key=True)
    used = {item.step.barrier: True for item in items if isinstance(item.step, BarrierStep)}
    for name in declared:
        if name not in used:
            what = f"barrier {name!r} stands in no lane"
            given.tell(("barriers", name), "SEQ034", what, key=True)


def _check_pairing(given: Input) -> None:
    """Tell of barriers that give only some of paired_until, balance and stop, or wrong ones."""
    declared = given.sequence.barriers
    for name, model in declared.items():
        if model.balance is not None:
            _balance_nm(given, name, model.balance)
        if model.paired_until is not None:
            what, here = "'paired_until'", ("barriers", name, "paired_until")
            of = "barriers of this file"
            given.knows(here, "SEQ033", what, model.paired_until, declared, of=of)
        parts = {
            "paired_until": model.paired_until,
            "balance": model.balance,
            "stop": model.stop,
        }
        absent = [part for part, value in parts.items() if value is None]
        if 0 < len(absent) < len(parts):
            what = f"barrier {name!r} gives no {' and no '.join(absent)}"
            must = "must give paired_until, balance and stop together, or none of them"
            given.tell(("barriers", name), "SEQ007", what, must, f"add '{absent[0]}:'", key=True)


def _check_company(given: Input, items: tuple[Item, ...], met: dict[Key, dict[int, int]]) -> None:
    names = given.parties
    everybody: dict[str, dict[int, bool]] = {}
    for (name, _), lanes in met.items():
        everybody.setdefault(name, {}).update(dict.fromkeys(lanes, True))
    for key, lanes in met.items():
        missing = [names[lane] for lane in everybody[key[0]] if lane not in lanes]
        if len(lanes) > 1 and not missing:
            continue
        alone = " and ".join(names[lane] for lane in lanes)
        where = f" and is missing from {' and '.join(missing)}" if missing else " alone"
        what = f"barrier {instance_name(*key)!r} stands in {alone}{where}"
        trail = items[next(iter(lanes.values()))].trail
        given.tell((*trail, "barrier"), "SEQ035", what)


def _check_order(given: Input, items: tuple[Item, ...], met: dict[Key, dict[int, int]]) -> None:
    """Tell of barriers that lanes meet in orders which cannot both be kept."""
    before: dict[Key, dict[Key, tuple[int, int]]] = {key: {} for key in met}
    last: dict[int, int] = {}
    for node, item in enumerate(items):
        key = _key(item)
        if key is None:
            continue
        if item.lane in last:
            earlier = _key(items[last[item.lane]])
            if earlier is not None and earlier != key:
                before[key].setdefault(earlier, (last[item.lane], node))
        last[item.lane] = node
    try:
        TopologicalSorter({key: list(found) for key, found in before.items()}).prepare()
    except CycleError as error:
        ring: list[Key] = error.args[1]
        steps = [before[late][early] for early, late in pairwise(ring)]
        what = "; ".join(_order_text(given, items, early, late) for early, late in steps)
        trail = (*items[steps[0][0]].trail, "barrier")
        given.tell(trail, "SEQ037", f"order is a ring: {what}")


def _order_text(given: Input, items: tuple[Item, ...], early: int, late: int) -> str:
    first, second = items[early], items[late]
    lane = given.parties[first.lane]
    texts = [
        f"{instance_name(*key)!r} (line {given.document.place(item.trail)[0]})"
        for item in (first, second)
        if (key := _key(item)) is not None
    ]
    return f"{lane} has {' before '.join(texts)}"


def _places(met: dict[Key, dict[int, int]]) -> dict[int, int]:
    return {node: place for place, lanes in enumerate(met.values()) for node in lanes.values()}


def _barrier(
    given: Input, items: tuple[Item, ...], key: Key, lanes: dict[int, int], span: int = -1
) -> Barrier:
    model = given.sequence.barriers.get(key[0], BarrierModel())
    ordered = tuple(sorted(lanes))
    return Barrier(
        name=instance_name(*key),
        lanes=ordered,
        nodes=tuple(lanes[lane] for lane in ordered),
        next_nodes=tuple(_step_after(items, lanes[lane]) for lane in ordered),
        timeout_us=model.timeout or 0,
        window_us=model.window,
        span=span,
    )


def _step_after(items: tuple[Item, ...], node: int) -> int:
    """Return the step of the same lane right after a barrier's node, or -1."""
    following = node + 1
    if following >= len(items) or items[following].lane != items[node].lane:
        return -1
    return following if isinstance(items[following].step, DoStep) else -1


def _with_spans(
    given: Input, items: tuple[Item, ...], met: dict[Key, dict[int, int]], told: int
) -> Meetings:
    places = _places(met)
    barriers: list[Barrier] = []
    spans: list[Span] = []
    span_of: dict[int, int] = {}
    for key, lanes in met.items():
        span = _span(given, items, met, key, len(barriers))
        number = -1
        if span is not None:
            number = len(spans)
            spans.append(span)
            span_of.update((node, number) for inside in span.nodes for node in inside)
        barriers.append(_barrier(given, items, key, lanes, number))
    is_sound = len(given.findings) == told
    return Meetings(tuple(barriers), tuple(spans), places, span_of, is_sound)


def _span(
    given: Input, items: tuple[Item, ...], met: dict[Key, dict[int, int]], key: Key, opens: int
) -> Span | None:
    """Return the span that a paired barrier opens; None for any other, or after telling."""
    model = given.sequence.barriers[key[0]]
    if model.paired_until is None or model.balance is None or model.stop is None:
        return None
    lanes = met[key]
    ordered = tuple(sorted(lanes))
    if len(ordered) != 2 or ordered[-1] >= len(given.cell.sides):
        _tell_crowd(given, key, lanes)
        return None
    closing = (model.paired_until, key[1])
    inside = []
    for lane in ordered:
        steps = _until_barrier(items, lanes[lane])
        last = steps[-1] + 1 if steps else lanes[lane] + 1
        at_end = last >= len(items) or items[last].lane != lane
        found = None if at_end else _key(items[last])
        if found != closing:
            next_name = "nothing" if found is None else repr(instance_name(*found))
            what = f"after {instance_name(*key)!r} the next barrier of {given.parties[lane]} is "
            must = f"must be {instance_name(*closing)!r}, as 'paired_until' says"
            trail = (*items[lanes[lane]].trail, "barrier")
            do = "let that barrier follow in the same loop, or correct 'paired_until'"
            given.tell(trail, "SEQ038", what + next_name, must, do)
            return None
        for node in steps:
            if isinstance(items[node].step, PointStep):
                _tell_point(given, items[node])
        inside.append(steps)
    if tuple(sorted(met[closing])) != ordered:
        _tell_crowd(given, closing, met[closing])
        return None
    place = list(met).index(closing)
    name = instance_name(*key)
    balance_nm = round(_balance_nm(given, key[0], model.balance))
    return Span(name, opens, place, ordered, tuple(inside), balance_nm, model.stop)


def _balance_nm(given: Input, name: str, written: Value) -> float:
    """Return the allowed difference of torque, or 0 after telling what is wrong with it."""
    trail = ("barriers", name, "balance")
    resolver = Resolver(given.document, given.joint, given.findings)
    scope = Scope(given.values, {"joint": joint_group(given.joint)})
    balance_nm = resolver.value(written, Kind.TORQUE, scope, trail)
    if balance_nm is None:
        return 0.0
    if float(balance_nm) <= 0.0:
        what, must = f"balance is {written!r}", "must be above zero"
        given.tell(trail, "SEQ009", what, must, "correct the value")
    return float(balance_nm)


def _tell_point(given: Input, item: Item) -> None:
    what = "a point stands inside a paired span"
    given.tell((*item.trail, "point"), "SEQ061", what)


def _tell_crowd(given: Input, key: Key, lanes: dict[int, int]) -> None:
    names = " and ".join(given.parties[lane] for lane in sorted(lanes))
    what = f"paired barrier {instance_name(*key)!r} joins {names}"
    given.tell(("barriers", key[0]), "SEQ039", what, key=True)


def _until_barrier(items: tuple[Item, ...], node: int) -> tuple[int, ...]:
    """Return the steps between a barrier's node and the lane's next barrier or its end."""
    steps: list[int] = []
    for following in range(node + 1, len(items)):
        item = items[following]
        if item.lane != items[node].lane or isinstance(item.step, BarrierStep):
            break
        steps.append(following)
    return tuple(steps)


def node_kind(item: Item) -> NodeKind:
    """Return whether an item is a step, a barrier or a point."""
    match item.step:
        case BarrierStep():
            return NodeKind.BARRIER
        case PointStep():
            return NodeKind.POINT
        case _:
            return NodeKind.STEP
