"""Make the chart of a sequence as it is run: every bolt, pair and round by itself."""

from coordinator.core.plan import Node, NodeKind, Plan
from coordinator.draw.chart import Box, Chart, Gate, Mark
from coordinator.draw.folded import chart_of
from coordinator.draw.words import (
    barrier_words,
    place_words,
    plain,
    point_words,
    result_words,
    torque_words,
    value_words,
)
from coordinator.sequence import Loaded


def to_unrolled_chart(loaded: Loaded) -> Chart:
    """Return the chart of the plan, node by node."""
    marks = [
        tuple(_mark(loaded, lane, place) for place in range(len(lane)))
        for lane in loaded.plan.lanes
    ]
    return chart_of(loaded, marks, is_unrolled=True)


def _mark(loaded: Loaded, lane: tuple[int, ...], place: int) -> Mark:
    plan = loaded.plan
    node = plan.nodes[lane[place]]
    if node.barrier >= 0:
        return _gate(loaded, node)
    if node.kind is NodeKind.POINT:
        return _point(loaded, node, _after(plan, lane, place))
    return _box(loaded, node, _after(plan, lane, place))


def _after(plan: Plan, lane: tuple[int, ...], place: int) -> tuple[str, ...] | None:
    """Return the names of what a step waits for, None if that is just the node above."""
    node = plan.nodes[lane[place]]
    above = (lane[place - 1],) if place else ()
    return None if node.after == above else tuple(plan.nodes[one].name for one in node.after)


def _gate(loaded: Loaded, node: Node) -> Gate:
    plan = loaded.plan
    barrier = plan.barriers[node.barrier]
    closing = next(
        (plan.barriers[one.closes].name for one in plan.spans if one.opens == node.barrier), ""
    )
    return Gate(
        key=(barrier.name, ()),
        title=plain(barrier.name),
        details=barrier_words(plan, barrier),
        opens=plain(closing),
        is_close=any(one.closes == node.barrier for one in plan.spans),
        place=place_words(node.origin),
    )


def _point(loaded: Loaded, node: Node, after: tuple[str, ...] | None) -> Box:
    prompt = loaded.plan.prompts[node.prompt].name
    return Box(
        title=plain(node.name),
        details=point_words(loaded.sequence.points[prompt]),
        id=node.name,
        after=after,
        place=place_words(node.origin),
        is_point=True,
    )


def _box(loaded: Loaded, node: Node, after: tuple[str, ...] | None) -> Box:
    if node.move is None:
        return Box(plain(node.name))
    action = loaded.cell.actions[node.move.action]
    values = dict(node.move.parameters)
    said = ", ".join(
        f"{plain(name)} {value_words(value, action.takes[name])}"
        for name, value in values.items()
        if action.takes[name] not in ("tool", "bolt") or name == "on"
    )
    windows = tuple(
        f"accepts {torque_words(one.least)} to {torque_words(one.most)}"
        if one.result.endswith("_nm")
        else f"accepts {result_words(one.result)} {one.least:.4g} to {one.most:.4g}"
        for one in node.windows
    )
    tool = next((name for name, kind in action.takes.items() if kind == "tool"), "")
    interlocks = loaded.plan.interlocks
    return Box(
        title=plain(node.name),
        details=(*((said,) if said else ()), *windows),
        despite=tuple(plain(interlocks[place].name) for place, _ in node.exceptions),
        mounts=str(values.get(tool, "")),
        id=node.name,
        after=after,
        place=place_words(node.origin),
    )
