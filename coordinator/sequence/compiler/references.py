"""Decide what `$name` and `$name.field` stand for, and turn written values into parameters.

A reference is a whole value; there is no arithmetic and no joining of text.

Units: SI in every bound value.
Invariants: SQ25, a value that comes from the joint keeps its kind, so that a torque never becomes
an angle.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from coordinator.core.plan import Value
from coordinator.sequence.compiler.joint import JointFigures, RoundFigures
from coordinator.sequence.form.diagnostics import Findings
from coordinator.sequence.form.quantities import Dimension, QuantityError, parse_quantity
from coordinator.sequence.form.tree import Document, Teller, Tells, Trail
from coordinator.sequence.models.cell_model import ParameterKind as Kind

_REFERENCE = re.compile(r"\$([a-z][a-z0-9_]*)(?:\.([a-z][a-z0-9_]*))?")
_QUANTITIES: Mapping[Kind, Dimension] = MappingProxyType(
    {
        Kind.ANGLE: Dimension.ANGLE,
        Kind.FORCE: Dimension.FORCE,
        Kind.LENGTH: Dimension.LENGTH,
        Kind.PRESSURE: Dimension.PRESSURE,
        Kind.SHARE: Dimension.SHARE,
        Kind.TIME: Dimension.TIME,
        Kind.TORQUE: Dimension.TORQUE,
    }
)
_NUMBERS = {Kind.BOLT, Kind.COUNT, Kind.NUMBER}


@dataclass(frozen=True, slots=True)
class Bound:
    """A value that a name stands for."""

    value: Value
    kind: Kind | None
    """None while it is still as written and nobody has said what it means."""
    trail: Trail = ()
    """Where it was written, if it was."""
    document: Document | None = None
    """The file in which it was written, if it is not the sequence itself."""
    is_known: bool = True
    """False where the author was already told that there is no value."""


Group = Mapping[str, Bound]


@dataclass(frozen=True, slots=True)
class Scope:
    """The names that can be referred to at one place."""

    values: Mapping[str, Bound] = field(default_factory=dict)
    groups: Mapping[str, Group] = field(default_factory=dict)

    def with_value(self, name: str, bound: Bound) -> "Scope":
        """Return the scope with one more name."""
        return Scope({**self.values, name: bound}, self.groups)

    def with_group(self, name: str, group: Group) -> "Scope":
        """Return the scope with one more name that has fields."""
        return Scope(self.values, {**self.groups, name: group})


def joint_group(joint: JointFigures) -> Group:
    """Return the fields of `$joint`."""
    return {
        "bolt_circle": Bound(joint.bolt_circle_m, Kind.LENGTH),
        "balance": Bound(joint.balance_nm, Kind.TORQUE),
        "bolt_count": Bound(joint.bolt_count, Kind.COUNT),
        "check_angle": Bound(joint.check_angle_rad, Kind.ANGLE),
        "check_round": Bound(len(joint.rounds) + 1, Kind.COUNT),
        "engagement": Bound(joint.engagement_m, Kind.LENGTH),
        "grip": Bound(joint.grip_m, Kind.LENGTH),
        "hex_across_flats": Bound(joint.hex_across_flats_m, Kind.LENGTH),
        "loosening_torque_max": Bound(joint.loosening_torque_max_nm, Kind.TORQUE),
        "pin_first": Bound(joint.pins[0], Kind.BOLT),
        "pin_second": Bound(joint.pins[1], Kind.BOLT),
        "pitch": Bound(joint.thread.pitch_m, Kind.LENGTH),
        "preload": Bound(joint.preload_n, Kind.FORCE),
        "rounds": Bound(len(joint.rounds), Kind.COUNT),
        "stress": Bound(joint.stress_pa, Kind.PRESSURE),
        "torque": Bound(joint.torque_nm, Kind.TORQUE),
        "torque_least": Bound(joint.torque_nm * (1 - joint.tolerance), Kind.TORQUE),
        "torque_most": Bound(joint.torque_nm * (1 + joint.tolerance), Kind.TORQUE),
    }


def round_group(figures: RoundFigures) -> Group:
    """Return the fields of `$round`."""
    return {
        "number": Bound(figures.number, Kind.COUNT),
        "share": Bound(figures.share, Kind.SHARE),
        "torque": Bound(figures.torque_nm, Kind.TORQUE),
        "torque_least": Bound(figures.torque_least_nm, Kind.TORQUE),
        "torque_most": Bound(figures.torque_most_nm, Kind.TORQUE),
    }


def pair_group(number: int, own: int, bolt_count: int) -> Group:
    """Return the fields of `$pair` as a side sees them; bolts are numbered clockwise."""
    half = bolt_count // 2
    return {
        "number": Bound(number, Kind.COUNT),
        "own": Bound(own, Kind.BOLT),
        "other": Bound((own - 1 + half) % bolt_count + 1, Kind.BOLT),
        "neighbour": Bound(own % bolt_count + 1, Kind.BOLT),
        "other_neighbour": Bound((own - 2) % bolt_count + 1, Kind.BOLT),
    }


class Resolver(Tells):
    """Resolves what is written in one document against a joint and a scope."""

    def __init__(self, document: Document, joint: JointFigures, findings: Findings) -> None:
        """Keep where to look and whom to tell."""
        self.document = document
        self._joint = joint
        self.findings = findings

    def bind(self, written: Value, scope: Scope, trail: Trail) -> Bound | None:
        """Return what `written` stands for in `scope`, or None after telling why not."""
        if not isinstance(written, str) or "$" not in written:
            return Bound(written, None, trail)
        match = _REFERENCE.fullmatch(written)
        if match is None:
            must = "must be a whole value of the form $name or $name.field"
            do = "write the reference alone, or give the block one more parameter"
            self.tell(trail, "SEQ013", f"reference is {written!r}", must, do)
            return None
        name, part = match[1], match[2]
        if part is None and name in scope.values:
            return scope.values[name] if scope.values[name].is_known else None
        if part is not None and name in scope.groups:
            if part in scope.groups[name]:
                return scope.groups[name][part]
            known = [f"${name}.{one}" for one in scope.groups[name]]
        else:
            known = [f"${one}" for one in scope.values]
            known += [f"${one}.{two}" for one, group in scope.groups.items() for two in group]
        self.knows(trail, "SEQ013", "reference", written, known, of="names known here")
        return None

    def value(self, written: Value, kind: Kind, scope: Scope, trail: Trail) -> Value | None:
        """Return the value of a parameter of `kind`, or None after telling why there is none."""
        bound = self.bind(written, scope, trail)
        if bound is None:
            return None
        if bound.kind is None:
            return self._literal(bound, kind)
        if bound.kind is not kind and not (bound.kind in _NUMBERS and kind is Kind.NUMBER):
            what = f"{written!r} is a value of kind {bound.kind.value}"
            must = f"must be of kind {kind.value}"
            self.tell(trail, "SEQ012", what, must, "refer to another value")
            return None
        return bound.value

    def _literal(self, bound: Bound, kind: Kind) -> Value | None:
        """Return a value as written, read as `kind`."""
        value, trail = bound.value, bound.trail
        at = Teller(bound.document or self.document, self.findings)
        if kind in _QUANTITIES:
            try:
                return parse_quantity(value, _QUANTITIES[kind])
            except QuantityError as error:
                at.tell(trail, error.code, error.what, error.must, error.do)
                return None
        is_whole = isinstance(value, int) and not isinstance(value, bool)
        if kind is Kind.BOLT:
            count = self._joint.bolt_count
            if isinstance(value, int) and is_whole and 1 <= value <= count:
                return value
            must, do = f"must be a bolt of the joint, 1 to {count}", "correct the number"
            at.tell(trail, "SEQ017", f"bolt is {value!r}", must, do)
            return None
        fits = {
            Kind.COUNT: is_whole,
            Kind.FLAG: isinstance(value, bool),
            Kind.NUMBER: is_whole or isinstance(value, float),
            Kind.TEXT: isinstance(value, str),
            Kind.TOOL: isinstance(value, str),
        }
        if fits[kind]:
            return value
        must, do = f"must be of kind {kind.value}", "rewrite it"
        at.tell(trail, "SEQ008", f"value is {value!r}", must, do)
        return None
