"""Judge every step that pulls on a bolt: limits, opposite bolts, both sides at once, calibration.

Units: torque newton metre.
Invariants: T1, no torque above the joint's own; T3, bolts that are pulled together stand opposite.
"""

from datetime import date
from itertools import zip_longest

from coordinator.core.plan import Value
from coordinator.sequence.compiler.barriers import Meetings
from coordinator.sequence.compiler.expand import Input
from coordinator.sequence.compiler.nodes import Built
from coordinator.sequence.form.tree import Trail
from coordinator.sequence.models.cell_model import ParameterKind as Kind

_TIGHTENING = ("pull", "confirm", "check")
# Records of steps that leave their torque in the bolt as preload.


def check_pulls(given: Input, built: tuple[Built, ...], met: Meetings, today: date | None) -> None:
    """Tell what is wrong with the pulls; `today` None leaves calibrations unjudged."""
    pulls = tuple(one for one in built if one.action.first_of(Kind.TORQUE) is not None)
    _check_reactions(given, built)
    for one in pulls:
        _check_limits(given, one)
        if today is not None:
            _check_calibration(given, one, today)
    if met.is_sound:
        _check_company(given, pulls, met)


def _check_limits(given: Input, one: Built) -> None:
    name = one.action.first_of(Kind.TORQUE)
    if name is None or name not in one.values:
        return
    torque_nm = float(one.values[name])
    trail: Trail = (*one.item.trail, "with", name)
    side, tool = _tool(given, one)
    if tool is not None:
        limit_nm = given.cell.sides[side].tools[tool].torque_max
        if limit_nm is None or torque_nm > limit_nm:
            what = f"{name} is {torque_nm:.0f} N.m on {side!r}"
            limit = "of which none is given" if limit_nm is None else f"of {limit_nm:.0f} N.m"
            must = f"must not be above the limit of {tool!r}, {limit}"
            given.tell(trail, "SEQ048", what, must, "lower it or choose another tool")
    limit_nm = given.joint.torque_max_nm
    is_told = limit_nm is None or given.joint.torque_nm > limit_nm
    if one.action.records in _TIGHTENING and not is_told and torque_nm > (limit_nm or 0.0):
        what, must = f"{name} is {torque_nm:.0f} N.m", f"must not be above {limit_nm:.0f} N.m"
        do = "lower it: 'torque_max' of the joint is what flange, gasket or nut allow"
        given.tell(trail, "SEQ063", what, must, do)
    if one.action.records in _TIGHTENING and torque_nm > given.joint.proof_torque_nm:
        what = f"{name} is {torque_nm:.0f} N.m, which leaves "
        what += f"{given.joint.preload_at_n(torque_nm):.0f} N in the bolt"
        limit_n, limit_nm = given.joint.proof_load_n, given.joint.proof_torque_nm
        must = f"must not exceed the proof load of {limit_n:.0f} N at {limit_nm:.0f} N.m"
        given.tell(trail, "SEQ049", what, must, "lower it or choose a stronger bolt")


def _check_reactions(given: Input, built: tuple[Built, ...]) -> None:
    """Tell of reactions on bolts that are no neighbours, and of torques without a reaction."""
    if not any(action.reacts_on for action in given.cell.actions.values()):
        return  # The tools of this cell take their reaction from the arm itself.
    leaning: dict[int, Value | None] = {}
    for one in built:
        name = one.action.first_of(Kind.BOLT)
        bolt = None if name is None else one.values.get(name)
        if one.action.reacts_on is not None:
            leaning[one.item.lane] = bolt
            _check_neighbour(given, one, bolt)
        elif one.action.first_of(Kind.TORQUE) is None or bolt is None:
            continue
        elif leaning.get(one.item.lane) != bolt:
            what = f"{one.node.name!r} has no reaction on a neighbour of bolt {bolt}"
            do = f"add the action that reacts, with bolt {bolt}, above the paired barrier"
            given.tell((*one.item.trail, "do"), "SEQ064", what, "must have one", do)


def _check_neighbour(given: Input, one: Built, bolt: Value | None) -> None:
    name = one.action.reacts_on or ""
    other = one.values.get(name)
    if bolt is None or other is None:
        return
    count = given.joint.bolt_count
    neighbours = (int(bolt) % count + 1, (int(bolt) - 2) % count + 1)
    if other not in neighbours:
        what = f"bolt {bolt} reacts on bolt {other}"
        must = f"must react on a neighbour, bolt {neighbours[0]} or {neighbours[1]}"
        do = "correct it, or refer to $pair.neighbour"
        given.tell((*one.item.trail, "with", name), "SEQ064", what, must, do)


def _tool(given: Input, one: Built) -> tuple[str, str | None]:
    """Return the side and the tool that a step pulls with; None where it is not known."""
    side = given.parties[one.item.lane]
    owned = given.cell.sides[side].tools if side in given.cell.sides else {}
    return side, one.action.needs if one.action.needs in owned else None


def _check_calibration(given: Input, one: Built, today: date) -> None:
    side, tool = _tool(given, one)
    if tool is None:
        return
    due = given.cell.sides[side].tools[tool].calibration_due
    if due is not None and due >= today:
        return
    trail: Trail = ("sides", side, "tools", tool, "calibration_due")
    what = f"{tool!r} of {side!r} is due {due}" if due else f"{tool!r} of {side!r} has no due day"
    must = f"must be calibrated beyond {today}, for {one.name!r} rests on it"
    do = "have it calibrated and enter the dates"
    given.findings.add(given.cell_document.finding(trail, "SEQ052", what, must, do))


def _check_company(given: Input, pulls: tuple[Built, ...], met: Meetings) -> None:
    """Tell of pulls outside a paired span, without a partner, or not opposite to it."""
    inside: dict[int, dict[int, list[Built]]] = {}
    for one in pulls:
        if one.node.span < 0:
            _tell_one_sided(given, one, "stands in no paired span")
        else:
            lanes = inside.setdefault(one.node.span, {})
            lanes.setdefault(one.item.lane, []).append(one)
    for number, lanes in inside.items():
        first, second = (lanes.get(lane, []) for lane in met.spans[number].lanes)
        for one, other in zip_longest(first, second):
            if one is None or other is None:
                _tell_one_sided(given, one or other, "has no partner on the other side")
            else:
                _check_opposite(given, one, other)


def _tell_one_sided(given: Input, one: Built, why: str) -> None:
    given.tell((*one.item.trail, "do"), "SEQ051", f"{one.node.name!r} {why}")


def _check_opposite(given: Input, one: Built, other: Built) -> None:
    name, other_name = one.action.first_of(Kind.BOLT), other.action.first_of(Kind.BOLT)
    if name is None or other_name is None:
        return  # The cell describes a pull on no bolt; there is nothing to compare.
    if name not in one.values or other_name not in other.values:
        return
    own, partner = one.values[name], other.values[other_name]
    count = given.joint.bolt_count
    opposite = (int(own) - 1 + count // 2) % count + 1
    if partner != opposite:
        what = f"bolt {partner} is pulled together with bolt {own}"
        must = f"must be bolt {opposite}, the opposite one of {count}"
        do = "correct the bolts, or loop over 'pair'"
        trail = (*other.item.trail, "with", other_name)
        given.tell(trail, "SEQ050", what, must, do)
