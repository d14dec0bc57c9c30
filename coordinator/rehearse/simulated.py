"""Build the simulated parties of a cell from its files: two arms, the floor, one steel for each."""

from dataclasses import dataclass
from pathlib import Path

from coordinator.core.plan import InterlockKind
from coordinator.sequence import CaseCause, JointFigures, Loaded
from coordinator.wire.topics import FLOOR
from sim_arms.activities import ACTIONS, HOIST_ACTIONS, TOOLS
from sim_arms.arm import Arm
from sim_arms.causes import CATALOGUE, Cause, Causes
from sim_arms.floor import Floor
from sim_arms.ledger import LedgerStore
from sim_arms.steel import Steel, SteelConfig
from sim_arms.workbench import STAND_BY, Settings

SIGNAL_US_MAX = 1_500_000
"""Chosen: three periods of the floor; an older signal counts as unknown to the arms."""
STEEL_PA = 205e9
"""Young's modulus of alloy steel; common practice, no source."""
BOLT_CATALOGUE = {
    name: {parameter: str(quantity.dimension) for parameter, quantity in kind.parameters.items()}
    for name, kind in CATALOGUE.items()
}
"""What a case may set, in the form that the case reader takes."""
PLACED = tuple(name for name, kind in CATALOGUE.items() if kind.placed)
"""Causes that must say on which party they act."""


@dataclass(frozen=True, slots=True)
class Simulation:
    """What all simulated parties of a run share."""

    loaded: Loaded
    seed: int
    causes: tuple[Cause, ...] = ()
    origin_us: int = 0
    boot: int = 1
    """How often the process of the party that is built here has started."""
    speed: float = 1.0
    """How much faster than the wall the cell lives: its signals take as long as ever."""

    @property
    def names(self) -> tuple[str, ...]:
        """The processes of a cell: both sides, and the floor."""
        return (*self.loaded.cell.sides, FLOOR)

    def arm(self, side: str, store: LedgerStore | None = None) -> Arm:
        """Build one arm with its own replica of the steel."""
        settings = Settings(
            side,
            boot=self.boot,
            signal_us_max=int(SIGNAL_US_MAX * max(self.speed, 1.0)),
            watched=_watched(self.loaded),
            torque_nm_max=_torque_nm_max(self.loaded, side),
        )
        causes = Causes(self.causes)
        return Arm.on(
            settings, self.steel(), causes, self.seed, store=store, origin_us=self.origin_us
        )

    def floor(self, store: LedgerStore | None = None) -> Floor:
        """Build the floor, which also answers for the hoist."""
        signals: dict[str, bool | None] = dict.fromkeys(self.loaded.cell.signals, True)
        return Floor.on(
            Settings(self.loaded.cell.hoist or "hoist", boot=self.boot),
            self.steel(),
            self.causes,
            self.seed,
            signals=signals,
            store=store,
            origin_us=self.origin_us,
        )

    def party(self, name: str, store: LedgerStore | None = None) -> Arm | Floor:
        """Build a party by its name."""
        return self.floor(store) if name == FLOOR else self.arm(name, store)

    def steel(self) -> Steel:
        """Build the steel that one party knows."""
        return Steel(steel_config(self.loaded), self.seed)


def steel_config(loaded: Loaded) -> SteelConfig:
    """Tell the simulated world what the joint of a sequence is made of."""
    first, second = loaded.cell.sides
    begins = "open" if loaded.begins == "joint_open" else "made_up"
    return steel_of(loaded.joint, (first, second), begins=begins)


def steel_of(joint: JointFigures, sides: tuple[str, str], *, begins: str) -> SteelConfig:
    """Tell what a joint is made of, served half and half by two sides."""
    first, second = sides
    owners = dict.fromkeys((own for own, _ in joint.pairs), first)
    side_of_bolt = tuple(owners.get(bolt, second) for bolt in range(1, joint.bolt_count + 1))
    return SteelConfig(
        bolt_count=joint.bolt_count,
        pitch_m=joint.thread.pitch_m,
        major_diameter_m=joint.thread.major_diameter_m,
        pitch_diameter_m=joint.thread.pitch_diameter_m,
        engagement_m=joint.engagement_m,
        grip_m=joint.grip_m,
        bolt_circle_radius_m=joint.bolt_circle_m / 2,
        tensile_area_m2=joint.thread.tensile_area_m2,
        youngs_pa=STEEL_PA,
        yield_pa=joint.strength.yield_pa,
        friction=joint.friction,
        across_flats_m=joint.hex_across_flats_m,
        sides=sides,
        side_of_bolt=side_of_bolt,
        begins=begins,
        preload_n=joint.preload_n,
        ring_to_bolts=joint.flange.ring_to_bolts,
        seating_n=joint.flange.seating_n,
        influence=joint.flange.influence,
        pipe_radius_m=(joint.flange.pipe_diameter_m or 0.0) / 2,
    )


def unknown_to_simulation(loaded: Loaded) -> str:
    """Return what of a sequence the simulated parties cannot do, in words; empty if they can.

    A cell may describe any tool and action; real arms bring their own, simulated ones do not.
    """
    words: dict[str, bool] = {}
    for node in loaded.plan.nodes:
        recovery = (move for rule in node.rules for move in rule.recover)
        is_arm = loaded.plan.parties[node.lane].is_arm
        for move in (node.move, *recovery, *node.rechecks):
            if move is None:
                continue
            if move.action not in (*(ACTIONS if is_arm else HOIST_ACTIONS), STAND_BY):
                words[f"action {move.action!r}"] = True
            tool = dict(move.parameters).get("tool")
            if tool is not None and tool not in TOOLS:
                words[f"tool {tool!r}"] = True
    if not words:
        return ""
    return (
        f"the simulated arms know no {', no '.join(words)}, must be asked for what they know: the "
        f"tools {', '.join(TOOLS)}, and the actions {', '.join((*ACTIONS, *HOIST_ACTIONS))}; "
        "rename them in the cell, or run with real parties (run --real)"
    )


def to_causes(causes: tuple[CaseCause, ...]) -> tuple[Cause, ...]:
    """Hand the causes of a case file to the simulated world."""
    return tuple(
        Cause(one.cause, one.side, one.bolt, one.at_us, one.for_us, one.times, one.parameters)
        for one in causes
    )


def ledger_folder(out: Path) -> Path:
    """Where the parties of a run keep their ledgers."""
    return out / "ledgers"


def _watched(loaded: Loaded) -> tuple[str, ...]:
    """The signals that an arm watches for itself: those of trips, which know no exception."""
    return tuple(
        loaded.plan.signals[interlock.signal].name
        for interlock in loaded.plan.interlocks
        if interlock.kind is InterlockKind.TRIP
    )


def _torque_nm_max(loaded: Loaded, side: str) -> float:
    tools = loaded.cell.sides[side].tools.values()
    return max((tool.torque_max for tool in tools if tool.torque_max is not None), default=0.0)
