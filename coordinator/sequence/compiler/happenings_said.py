"""Say in words what the properties of an author's own speak of and promise."""

from coordinator.core.plan import Plan
from coordinator.sequence.compiler.own_properties import (
    Happening,
    HappeningKind,
    OwnProperty,
    PropertyKind,
)


def say_property(plan: Plan, own: OwnProperty) -> str:
    """Say what a property promises."""
    said = [say_happening(plan, one) for one in own.happenings]
    match own.kind:
        case PropertyKind.NEVER:
            return f"never {say_together(plan, own)}"
        case PropertyKind.ALWAYS_BEFORE:
            return f"{said[0]} always before {said[1]}"
        case PropertyKind.AT_MOST:
            return f"{said[0]} {own.times} time{'s' if own.times != 1 else ''} at most"


def say_together(plan: Plan, own: OwnProperty) -> str:
    """Say all that a property speaks of in one breath."""
    return ", and ".join(say_happening(plan, one) for one in own.happenings)


def say_happening(plan: Plan, one: Happening) -> str:
    """Say what happens, in the words of the file."""
    who = plan.parties[one.lane].name if one.lane >= 0 else "somebody"
    if one.kind is HappeningKind.SIGNAL:
        return f"{plan.signals[one.signal].name} is {'good' if one.is_good else 'bad'}"
    if one.kind is HappeningKind.ZONE:
        return f"{who} is at work in {plan.zones[one.zone]}"
    given = ", ".join(f"{name} {value}" for name, value in one.parameters)
    what = f"{one.action}{f' ({given})' if given else ''}"
    if one.kind is HappeningKind.UNDER_WAY:
        return f"{who} is under way with {what}"
    return f"{who} {one.kind.value} {what}"
