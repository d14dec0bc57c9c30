"""Properties of an author's own over the pair plan, each with what must come of it."""

from typing import NamedTuple

from coordinator.sequence.compiler.own_properties import (
    Happening,
    HappeningKind,
    OwnProperty,
    PropertyKind,
)
from tests.support.pair_plan import AFT, FORE, HOIST

BEGINS, ENDS, UNDER_WAY = HappeningKind.BEGINS, HappeningKind.ENDS, HappeningKind.UNDER_WAY


class Promised(NamedTuple):
    """A property, and whether it holds."""

    own: OwnProperty
    holds: bool
    causes: int = 0
    """With so many things going wrong."""


def _own(name: str, kind: PropertyKind, *happenings: Happening, times: int = 0) -> OwnProperty:
    return OwnProperty(name, "so it is promised", kind, happenings, times)


def _never(name: str, *happenings: Happening) -> OwnProperty:
    return _own(name, PropertyKind.NEVER, *happenings)


def _before(name: str, first: Happening, then: Happening) -> OwnProperty:
    return _own(name, PropertyKind.ALWAYS_BEFORE, first, then)


def _most(name: str, times: int, happening: Happening) -> OwnProperty:
    return _own(name, PropertyKind.AT_MOST, happening, times=times)


def _step(kind: HappeningKind, action: str, lane: int = -1) -> Happening:
    return Happening(kind, lane, action)


def _bad(signal: int) -> Happening:
    return Happening(HappeningKind.SIGNAL, signal=signal, is_good=False)


PROMISED = (
    # Both seat at the same time as they like; both pick in one zone, so one after the other.
    Promised(_never("both_seat", *(_step(UNDER_WAY, "seat", lane) for lane in (FORE, AFT))), False),
    Promised(_never("both_pick", *(_step(UNDER_WAY, "pick", lane) for lane in (FORE, AFT))), True),
    Promised(_never("no_lift", _step(BEGINS, "lift")), False),
    Promised(_never("pick_on_lower", *(_step(UNDER_WAY, one) for one in ("pick", "lower"))), False),
    Promised(_never("seat_on_lower", *(_step(UNDER_WAY, one) for one in ("seat", "lower"))), True),
    Promised(_before("pull_seated", _step(ENDS, "seat", FORE), _step(BEGINS, "pull", AFT)), True),
    Promised(_before("fore_first", _step(BEGINS, "pick", FORE), _step(BEGINS, "pick", AFT)), False),
    Promised(_before("aft_first", _step(BEGINS, "park", AFT), _step(BEGINS, "park", FORE)), False),
    Promised(_before("lowered", _step(ENDS, "lower", HOIST), _step(BEGINS, "seat")), True),
    Promised(_before("lifted", _step(ENDS, "lift"), _step(BEGINS, "pull")), False),
    Promised(_most("one_pull", 1, _step(BEGINS, "pull", FORE)), True),
    Promised(_most("one_pull_of_two", 1, _step(BEGINS, "pull")), False),
    # With one thing going wrong a pull begins once more, and a recovery has moves of its own.
    Promised(_most("one_pull_again", 1, _step(BEGINS, "pull", FORE)), False, 1),
    Promised(_most("two_pulls", 2, _step(BEGINS, "pull", FORE)), True, 1),
    Promised(_never("no_index", _step(BEGINS, "index")), False, 1),
    Promised(_never("one_index", _step(BEGINS, "index")), True, 0),
    Promised(_never("motion_blind", _step(BEGINS, "seat"), _bad(0)), True, 1),
    Promised(_never("seat_blind", _step(UNDER_WAY, "seat"), _bad(0)), False, 1),
    Promised(_most("one_in_zone", 1, Happening(HappeningKind.ZONE, FORE, zone=0)), True),
)
