"""Compile what an author wants proved into what the proof judges, and tell what it cannot mean.

Invariants: SQ22, an author's property speaks only of what some step, signal or zone can show, so
that none holds merely because nothing of it ever happens.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from coordinator.core.plan import Move, Node, Value
from coordinator.sequence.compiler.expand import Input
from coordinator.sequence.compiler.moves import MoveMaker
from coordinator.sequence.compiler.references import Scope, joint_group
from coordinator.sequence.form.tree import Trail
from coordinator.sequence.models.cell_model import ActionModel
from coordinator.sequence.models.property_model import (
    AlwaysBeforeModel,
    AtMostModel,
    BeginsModel,
    EndsModel,
    HappeningModel,
    InZoneModel,
    NeverModel,
    SignalIsModel,
    UnderWayModel,
)


class HappeningKind(StrEnum):
    """What is looked at."""

    BEGINS = "begins"
    ENDS = "ends"
    UNDER_WAY = "under_way"
    SIGNAL = "signal"
    ZONE = "zone"


@dataclass(frozen=True, slots=True)
class Happening:
    """One kind of happening that a property speaks of."""

    kind: HappeningKind
    lane: int = -1
    """-1 for any."""
    action: str = ""
    parameters: tuple[tuple[str, Value], ...] = ()
    """Those that a move must have; it may have more."""
    signal: int = -1
    is_good: bool = True
    zone: int = -1

    def matches(self, lane: int, move: Move) -> bool:
        """Tell whether a move of a lane is one that this speaks of."""
        if self.lane not in (-1, lane) or self.action != move.action:
            return False
        return all(one in move.parameters for one in self.parameters)


class PropertyKind(StrEnum):
    NEVER = "never"
    ALWAYS_BEFORE = "always_before"
    AT_MOST = "at_most"


@dataclass(frozen=True, slots=True)
class OwnProperty:
    """One property of a sequence's author."""

    name: str
    text: str
    kind: PropertyKind
    happenings: tuple[Happening, ...]
    """All that is never so together; or first and then; or what is counted."""
    times: int = 0


def moves_of(node: Node) -> tuple[Move, ...]:
    """Return every move that belongs to a step: its own, re-checks, recoveries, leaving it."""
    own = () if node.move is None else (node.move,)
    recoveries = (move for rule in node.rules for move in rule.recover)
    return (*own, *node.rechecks, *recoveries, *node.leave)


class PropertyMaker:
    """Compiles the properties of one sequence."""

    def __init__(self, given: Input, nodes: Sequence[Node]) -> None:
        """Keep the files and the steps that properties may speak of."""
        self._given = given
        self._nodes = nodes
        self._maker = MoveMaker(given)
        self._scope = Scope(given.values, {"joint": joint_group(given.joint)})

    def properties(self) -> tuple[OwnProperty, ...]:
        """Return every property; tells of those that cannot be meant."""
        found = []
        for name, model in self._given.sequence.properties.items():
            trail: Trail = ("properties", name)
            parts = tuple(self._parts(model, trail))
            happenings = tuple(self._thing(one, here) for one, here in parts)
            known = tuple(one for one in happenings if one is not None)
            if len(known) == len(parts):
                times = model.at_most.times if isinstance(model, AtMostModel) else 0
                kind = PropertyKind(next(one for one in PropertyKind if hasattr(model, one)))
                found.append(OwnProperty(name, model.text, kind, known, times))
        return tuple(found)

    @staticmethod
    def _parts(
        model: NeverModel | AlwaysBeforeModel | AtMostModel, trail: Trail
    ) -> Iterator[tuple[HappeningModel, Trail]]:
        match model:
            case NeverModel():
                for place, one in enumerate(model.never):
                    yield one, (*trail, "never", place)
            case AlwaysBeforeModel():
                yield model.always_before.first, (*trail, "always_before", "first")
                yield model.always_before.then, (*trail, "always_before", "then")
            case AtMostModel():
                yield model.at_most.of, (*trail, "at_most", "of")

    def _thing(self, model: HappeningModel, trail: Trail) -> Happening | None:
        match model:
            case SignalIsModel():
                signals = list(self._given.cell.signals)
                at = self._place("SEQ028", "signal", model.signal, signals, (*trail, "signal"))
                return (
                    None
                    if at < 0
                    else Happening(HappeningKind.SIGNAL, signal=at, is_good=model.is_ == "good")
                )
            case InZoneModel():
                return self._zone(model, trail)
            case BeginsModel():
                return self._step(HappeningKind.BEGINS, model.begins, model, trail)
            case EndsModel():
                return self._step(HappeningKind.ENDS, model.ends, model, trail)
            case UnderWayModel():
                return self._step(HappeningKind.UNDER_WAY, model.under_way, model, trail)

    def _zone(self, model: InZoneModel, trail: Trail) -> Happening | None:
        lane = self._lane(model.lane, trail)
        zones = self._given.cell.zones
        at = self._place("SEQ029", "zone", model.zone, zones, (*trail, "zone"))
        if lane is None or at < 0:
            return None
        for node in self._nodes:
            if lane in (-1, node.lane) and any(move.zone == at for move in moves_of(node)):
                return Happening(HappeningKind.ZONE, lane=lane, zone=at)
        whose = f"lane {model.lane!r}" if model.lane else "any lane"
        what, must = f"no step of {whose} enters zone {model.zone!r}", "must be entered by a step"
        do = "correct lane or zone, or take the property out"
        self._given.tell((*trail, "zone"), "SEQ073", what, must, do)
        return None

    def _step(
        self,
        kind: HappeningKind,
        name: str,
        model: BeginsModel | EndsModel | UnderWayModel,
        trail: Trail,
    ) -> Happening | None:
        lane = self._lane(model.lane, trail)
        action = self._maker.action(name, (*trail, kind.value))
        if action is None or lane is None:
            return None
        parameters = self._parameters(name, action, model, trail)
        if parameters is None:
            return None
        thing = Happening(kind, lane, name, parameters)
        for node in self._nodes:
            moves = moves_of(node)[:1] if kind is HappeningKind.ENDS else moves_of(node)
            if any(thing.matches(node.lane, move) for move in moves):
                return thing
        whose = f"of lane {model.lane!r}" if model.lane else "of any lane"
        what = f"no step {whose} does {name!r}" + (" with these parameters" if parameters else "")
        must, do = "must be done by a step", "correct it, or take the property out"
        self._given.tell((*trail, kind.value), "SEQ073", what, must, do)
        return None

    def _parameters(
        self,
        name: str,
        action: ActionModel,
        model: BeginsModel | EndsModel | UnderWayModel,
        trail: Trail,
    ) -> tuple[tuple[str, Value], ...] | None:
        found = []
        for key, written in model.with_.items():
            here = (*trail, "with", key)
            takes, of = action.takes, f"parameters of {name!r}"
            if not self._given.knows(here, "SEQ015", "parameter", key, takes, of=of, key=True):
                return None
            value = self._maker.resolver.value(written, takes[key], self._scope, here)
            if value is None:
                return None
            found.append((key, value))
        return tuple(found)

    def _lane(self, name: str | None, trail: Trail) -> int | None:
        if name is None:
            return -1
        at = self._place("SEQ022", "lane", name, self._given.parties, (*trail, "lane"))
        return None if at < 0 else at

    def _place(self, code: str, what: str, name: str, names: Sequence[str], trail: Trail) -> int:
        """Return the place of a name among those of the cell; -1 after telling of none."""
        of = f"{what}s of the cell" if what != "lane" else "parties"
        is_known = self._given.knows(trail, code, what, name, names, of=of)
        return list(names).index(name) if is_known else -1
