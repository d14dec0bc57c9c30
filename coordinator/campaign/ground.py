"""What the files say, in the form in which the oracles look it up; nothing is decided here.

Units: ``*_us`` whole microseconds; ``*_nm`` newton metre.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from coordinator.core.plan import InterlockKind, Node, NodeKind, Plan
from coordinator.sequence import Loaded
from coordinator.wire.messages import Value

STAND_BY = "stand_by"
PULLING = ("pull", "check_torque", "break_loose")
TORQUE_SLACK = 1.0001
"""A torque is written in newton metres and read back; the last digit may differ."""


@dataclass(frozen=True, slots=True)
class Step:
    """One step as its file describes it."""

    name: str
    party: str
    action: str
    zone: str
    attempts: Mapping[str, int]
    """How often it may be tried in all, by fault; a fault that is not here is tried once."""
    exceptions: tuple[int, ...]
    """Interlocks under which it may move all the same."""
    needs: tuple[int, ...]
    """Permissives without which it may not move."""
    span: int
    bolt: int
    torque_nm: float
    windows: tuple[tuple[str, float, float], ...]
    """(result, least, most) of everything that must lie inside for it to have gone well."""

    def is_fit(self, torque_nm: float | None) -> bool:
        """Tell whether a torque that a person has measured breaks no window of the step."""
        if torque_nm is None:
            return False
        windows = [(a, b) for name, a, b in self.windows if name == "torque_nm"]
        return all(least <= torque_nm <= most for least, most in windows)


@dataclass(frozen=True, slots=True)
class PairedSpan:
    """A paired span by names."""

    opens: str
    closes: str
    parties: tuple[str, ...]
    steps: Mapping[str, tuple[str, ...]]
    balance_nm: int
    stop_us: int
    window_us: int


@dataclass(frozen=True, slots=True)
class Gate:
    """An interlock: good only while its signal is true, known and fresh."""

    name: str
    signal: str
    max_age_us: int
    is_trip: bool
    is_permissive: bool


@dataclass(frozen=True, slots=True)
class Ground:
    """All of it."""

    plan: Plan
    parties: tuple[str, ...]
    arms: tuple[str, ...]
    steps: Mapping[str, Step]
    meetings: Mapping[str, tuple[str, ...]]
    """Parties of each barrier."""
    spans: tuple[PairedSpan, ...]
    gates: tuple[Gate, ...]
    zones: Mapping[str, str]
    """Zone of each action."""
    torque_nm_max: float
    rounds_nm: tuple[float, ...]
    """Torque of each round, as the joint has it; none where the joint is made up already."""
    lease_us: int
    bolt_count: int
    alone_never: tuple[str, ...]
    """Faults after which nothing is tried again without a person."""

    @classmethod
    def of(cls, loaded: Loaded) -> "Ground":
        """Read the ground off a loaded sequence."""
        plan = loaded.plan
        names = tuple(party.name for party in plan.parties)
        zones = {name: action.zone or "" for name, action in loaded.cell.actions.items()}
        joint = loaded.joint
        return cls(
            plan=plan,
            parties=names,
            arms=tuple(party.name for party in plan.parties if party.is_arm),
            steps={
                node.name: _step(node, names[node.lane], zones)
                for node in plan.nodes
                if node.kind is NodeKind.STEP
            },
            meetings={
                barrier.name: tuple(names[lane] for lane in barrier.lanes)
                for barrier in plan.barriers
            },
            spans=_spans(plan, names),
            gates=_gates(plan),
            zones=zones,
            torque_nm_max=max(joint.torque_nm, joint.loosening_torque_max_nm) * TORQUE_SLACK,
            rounds_nm=_rounds_nm(loaded),
            lease_us=plan.timing.lease_us,
            bolt_count=joint.bolt_count,
            alone_never=tuple(name for name, one in loaded.cell.faults.items() if not one.alone),
        )

    def is_outside(self, step: str, results: Mapping[str, Value]) -> bool:
        """Tell whether a step's results break a window of its own."""
        known = self.steps.get(step)
        if known is None:
            return False
        for name, least, most in known.windows:
            value = results.get(name)
            if not isinstance(value, int | float) or not least <= value <= most:
                return True
        return False

    def span_of(self, step: str) -> int:
        """Return the paired span of a step by its name, -1 for none."""
        known = self.steps.get(step)
        return -1 if known is None else known.span


def _rounds_nm(loaded: Loaded) -> tuple[float, ...]:
    if loaded.begins == "joint_made_up":
        return ()
    return tuple(one.torque_nm for one in loaded.joint.rounds)


def _step(node: Node, party: str, zones: Mapping[str, str]) -> Step:
    move = node.move
    given = dict(move.parameters) if move is not None else {}
    torque = given.get("torque", 0.0)
    return Step(
        name=node.name,
        party=party,
        action=move.action if move is not None else "",
        zone=zones.get(move.action, "") if move is not None else "",
        attempts={rule.fault: rule.attempts for rule in node.rules},
        exceptions=tuple(interlock for interlock, _ in node.exceptions),
        needs=node.permissives,
        span=node.span,
        bolt=int(given.get("bolt", 0)),
        torque_nm=float(torque) if not isinstance(torque, str) else 0.0,
        windows=tuple((one.result, one.least, one.most) for one in node.windows),
    )


def _spans(plan: Plan, names: tuple[str, ...]) -> tuple[PairedSpan, ...]:
    return tuple(
        PairedSpan(
            opens=plan.barriers[span.opens].name,
            closes=plan.barriers[span.closes].name,
            parties=tuple(names[lane] for lane in span.lanes),
            steps={
                names[lane]: tuple(plan.nodes[node].name for node in nodes)
                for lane, nodes in zip(span.lanes, span.nodes, strict=True)
            },
            balance_nm=span.balance_nm,
            stop_us=span.stop_us,
            window_us=plan.barriers[span.opens].window_us,
        )
        for span in plan.spans
    )


def _gates(plan: Plan) -> tuple[Gate, ...]:
    return tuple(
        Gate(
            one.name,
            plan.signals[one.signal].name,
            plan.signals[one.signal].max_age_us,
            one.kind is InterlockKind.TRIP,
            one.kind is InterlockKind.PERMISSIVE,
        )
        for one in plan.interlocks
    )
