"""Judge whether each step has the tool that it needs in hand, following every change of tool.

An action that takes a parameter of kind `tool` mounts that tool; at the start none is mounted.

Invariants: SQ17, no step and no recovery needs a tool that is not mounted at its place in the lane.
"""

from coordinator.core.plan import Value
from coordinator.sequence.compiler.expand import Input
from coordinator.sequence.compiler.nodes import Built
from coordinator.sequence.form.tree import Trail
from coordinator.sequence.models.cell_model import ParameterKind as Kind
from coordinator.sequence.models.sequence_model import DoStep

SOCKET_OFF_M_MAX = 0.1e-3
# Sockets are named by the nut they fit; 80 mm and 3 1/8 in are two sockets, 0.6 mm apart.


def check_tools(given: Input, built: tuple[Built, ...]) -> None:
    """Tell of every step whose tool is not mounted, or not on its side at all."""
    mounted: dict[int, Value] = {}
    told: dict[tuple[str, str], bool] = {}
    sides = tuple(given.cell.sides.items())
    for one in built:
        lane = one.item.lane
        if lane >= len(sides):
            continue
        name, side = sides[lane]
        change = one.action.first_of(Kind.TOOL)
        if change is not None and change in one.values:
            trail = (*one.item.trail, "with", change)
            _check_owned(given, one.values[change], name, tuple(side.tools), trail)
            mounted[lane] = one.values[change]
        _check_needed(given, one, name, tuple(side.tools), mounted.get(lane))
        _check_recovery(given, one, mounted.get(lane))
        _check_socket(given, one, name, told)


def _check_owned(
    given: Input, tool: Value, side: str, tools: tuple[str, ...], trail: Trail
) -> bool:
    if tool in tools:
        return True
    what = f"side {side!r} has no {tool!r}"
    must = f"must be one of its tools {', '.join(tools)}"
    given.tell(trail, "SEQ019", what, must, "choose another, or add it to the cell")
    return False


def _check_needed(
    given: Input, one: Built, side: str, tools: tuple[str, ...], mounted: Value | None
) -> None:
    needed = one.action.needs
    trail = (*one.item.trail, "do")
    if needed is None or needed == mounted:
        return
    if not _check_owned(given, needed, side, tools, trail):
        return
    has = f"{mounted!r}" if mounted is not None else "no tool"
    what = f"{one.name!r} meets {has} on {side!r}"
    do = f"change the tool to {needed!r} before it"
    given.tell(trail, "SEQ020", what, f"must have {needed!r} mounted", do)


def _check_socket(given: Input, one: Built, side: str, told: dict[tuple[str, str], bool]) -> None:
    """Tell, once for each tool, that none of its sockets fits the nuts of the joint."""
    tool, flats_m = one.action.needs, given.joint.hex_across_flats_m
    tools = given.cell.sides[side].tools
    sockets = tools[tool].sockets if tool is not None and tool in tools else ()
    if tool is None or not sockets or (side, tool) in told:
        return
    if one.action.first_of(Kind.BOLT) is None:
        return
    if any(abs(socket - flats_m) <= SOCKET_OFF_M_MAX for socket in sockets):
        return
    told[side, tool] = True
    widths = ", ".join(f"{socket * 1e3:g}" for socket in sockets)
    what = f"{tool!r} of {side!r} has sockets of {widths} mm"
    must = f"must have one for the {flats_m * 1e3:g} mm across flats of {given.joint.name!r}"
    given.tell((*one.item.trail, "do"), "SEQ062", what, must, "add it to the tool in the cell")


def _check_recovery(given: Input, one: Built, mounted: Value | None) -> None:
    if not isinstance(one.item.step, DoStep) or one.item.step.policy is None:
        return
    for rule in one.node.rules:
        for place, move in enumerate(rule.recover):
            action = given.cell.actions[move.action]
            trail: Trail = ("policies", one.item.step.policy, rule.fault, "recover", place, "do")
            if action.first_of(Kind.TOOL) is not None:
                what, must = f"recovery {move.action!r} changes the tool", "must keep it"
                given.tell(trail, "SEQ020", what, must, "recover with the tool in hand")
            elif action.needs is not None and action.needs != mounted:
                what = f"recovery {move.action!r} of {one.name!r} meets {mounted or 'no tool'!r}"
                must = f"must have {action.needs!r} mounted"
                given.tell(trail, "SEQ020", what, must, "recover with the tool in hand")
