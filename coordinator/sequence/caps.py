"""Cap a plan for a run: no torque and no speed above what a person allows, as in commissioning.

The arms keep to the caps themselves too: they are told with each lease.

The target in the record of a capped pull stays what it was; what asks for a torque under a cap of 0
N·m stands by in its place.

Units: torque newton metre; speed as a share of the full one.
Invariants: SQ23, a capped pull proves no more than it pulled, and a cap of 0 N·m pulls nothing and
proves nothing.
"""

from dataclasses import replace

from coordinator.core.plan import Caps, Move, Node, Plan, Value, Window

LEAST_SHARE = 0.95
"""Of the cap: what a capped pull must come to; the accepted band of 5 %, common practice."""
SPEED_SHARE_MIN = 0.05
STAND_BY = "stand_by"
"""The one action that every arm has by the wire contract: it moves nothing."""


def capped(plan: Plan, caps: Caps) -> Plan:
    """Return the plan under caps.

    Args:
        plan: As compiled.
        caps: Torque 0, for a run without any, or above; speed from 0.05 to 1.

    Raises:
        ValueError: a cap is out of its range.
    """
    if caps == Caps():
        return plan
    if caps.torque_nm is not None and not caps.torque_nm >= 0.0:
        raise ValueError(f"torque cap is {caps.torque_nm:g} N·m, must be 0 or above")
    if not SPEED_SHARE_MIN <= caps.speed_share <= 1.0:
        must = f"must be {SPEED_SHARE_MIN:g} to 1"
        raise ValueError(f"speed cap is {caps.speed_share:g} of full speed, {must}")
    return replace(plan, nodes=tuple(_node(one, caps) for one in plan.nodes), caps=caps)


def _node(node: Node, caps: Caps) -> Node:
    if caps.torque_nm == 0.0 and node.move is not None and _asks_torque(node.move):
        # The tool is seated and leans on its neighbour by the steps before; here it only waits.
        return replace(_under(node, caps), windows=(), record=None)
    return _under(node, caps)


def _under(node: Node, caps: Caps) -> Node:
    return replace(
        node,
        move=None if node.move is None else _move(node.move, caps),
        rules=tuple(
            replace(rule, recover=tuple(_move(one, caps) for one in rule.recover))
            for rule in node.rules
        ),
        rechecks=tuple(_move(one, caps) for one in node.rechecks),
        leave=tuple(_move(one, caps) for one in node.leave),
        windows=tuple(_window(one, caps) for one in node.windows),
    )


def _asks_torque(move: Move) -> bool:
    return any(name.startswith("torque") for name, _ in move.parameters)


def _move(move: Move, caps: Caps) -> Move:
    if caps.torque_nm == 0.0 and _asks_torque(move):
        return replace(move, action=STAND_BY, parameters=())
    parameters = tuple((name, _value(name, value, caps)) for name, value in move.parameters)
    timeout_us = round(move.timeout_us / caps.speed_share)
    return replace(move, parameters=parameters, timeout_us=timeout_us)


def _value(name: str, value: Value, caps: Caps) -> Value:
    if caps.torque_nm is None or not name.startswith("torque") or isinstance(value, str):
        return value
    return min(float(value), caps.torque_nm)


def _window(window: Window, caps: Caps) -> Window:
    if caps.torque_nm is None or not window.result.startswith("torque"):
        return window
    return replace(window, least=min(window.least, LEAST_SHARE * caps.torque_nm))
