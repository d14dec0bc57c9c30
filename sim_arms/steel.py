"""The facts of the simulated steel: where each bolt is, how far it is turned, what it carries.

Every party keeps its own replica. A fact has one writer, who publishes it; what follows from
facts (loads, tilt) or from the seed (friction, scatter of places) is computed alike in each
replica and needs no message.

Its writer is: of a bolt its side, of an arm itself, of string and joint the floor.

Units: SI; turns for threads.
"""

import math
import random
from collections.abc import Mapping
from dataclasses import dataclass

from coordinator.wire.messages import Value
from sim_arms.physics.arm_chain import ArmChain
from sim_arms.physics.bolt import BoltLaw
from sim_arms.physics.camera import Pose
from sim_arms.physics.flange import (
    FREE_ADVANCE_M,
    Flange,
    FlangeModel,
    FlangeState,
    Grip,
    advance_for,
)
from sim_arms.physics.influence import InfluenceModel, Rows
from sim_arms.physics.motion import Layout
from sim_arms.physics.socket import HexFit
from sim_arms.physics.thread import ThreadStart, turns_to_shoulder

HOLE_CLEARANCE_M = 1.6e-3  # Radial; holes 1/8 in over the bolt, from memory.
CHAMFER_M = 0.5e-3  # Lead-in beyond the thread's depth; chosen.
SOCKET_PLAY_RATIO = 0.018  # Of across flats; chosen, gives near 2 degrees either way.
MOUTH_RAD = math.radians(1.5)  # Chosen.
RUNNING_NM_M = 100.0  # Prevailing torque of an oiled thread per metre of diameter; chosen.
FRICTION_SPREAD = 0.03  # Relative, one sigma, cut at three; chosen for one batch of grease.
PRELOAD_SPREAD = 0.03  # Relative; chosen for a joint left by this procedure.
BIN_SPREAD_M = 1.0e-3
HOLE_SPREAD_M = 0.15e-3
STICTION = (1.10, 1.35)  # Break-out over kinetic torque of a joint that stood; chosen.


@dataclass(frozen=True, slots=True)
class SteelConfig:
    """What the steel is, before anybody touches it."""

    bolt_count: int
    pitch_m: float
    major_diameter_m: float
    pitch_diameter_m: float
    engagement_m: float
    grip_m: float
    bolt_circle_radius_m: float
    tensile_area_m2: float
    youngs_pa: float
    yield_pa: float
    friction: float
    across_flats_m: float
    sides: tuple[str, str]
    side_of_bolt: tuple[str, ...]
    """Who serves each bolt; index 0 is bolt 1."""
    begins: str = "open"
    """`open` (bolts in the bins) or `made_up` (bolts tight, at `preload_n` with scatter)."""
    preload_n: float = 0.0
    ring_to_bolts: float = 8.0
    """Ring stiffness over that of all bolts together; chosen, metal to metal."""
    seating_n: float = 20.0e3
    """What presses the faces together before any bolt does; chosen, some 2 t of pipe."""
    influence: Rows = ()
    """An influence matrix instead of ring and plate; empty for none."""
    pipe_radius_m: float = 0.0
    """Of the string, for clearance; nought where it is not known."""

    def flange(self) -> Flange:
        """Return how the joint shares its load among the bolts."""
        bolt_n_m = self.tensile_area_m2 * self.youngs_pa / self.grip_m
        if self.influence:
            return InfluenceModel(self.influence, self.bolt_circle_radius_m, bolt_n_m)
        ring_n_m = self.ring_to_bolts * self.bolt_count * bolt_n_m
        return FlangeModel(
            self.bolt_count, self.bolt_circle_radius_m, bolt_n_m, ring_n_m, self.seating_n
        )


class Steel:
    """One party's replica of the facts."""

    def __init__(self, config: SteelConfig, seed: int | str) -> None:
        """Lay out the steel as it begins."""
        self.config = config
        self.seed = seed
        self.version = 0
        """Grows with every change; whoever caches compares it."""
        self.layout = Layout.around(config.bolt_circle_radius_m, config.sides, config.side_of_bolt)
        self.flange = config.flange()
        self.chains = {
            side: ArmChain.beside(config.bolt_circle_radius_m, sign)
            for side, sign in zip(config.sides, (-1.0, 1.0), strict=True)
        }
        self.yield_n = config.yield_pa * config.tensile_area_m2
        self.shoulder_turns = turns_to_shoulder(config.engagement_m, config.pitch_m)
        self.hex_fit = HexFit(
            config.across_flats_m, SOCKET_PLAY_RATIO * config.across_flats_m, MOUTH_RAD
        )
        self.thread_start = ThreadStart(
            config.pitch_m, config.major_diameter_m, HOLE_CLEARANCE_M, CHAMFER_M
        )
        self._scatter = _Scatter.of(config, seed)
        self._facts: dict[str, Value] = {}
        self._outbox: dict[str, Value] = {}
        self._settled: tuple[int, FlangeState] | None = None
        self._begin()

    @property
    def facts(self) -> Mapping[str, Value]:
        """All facts, to read."""
        return self._facts

    def write(self, key: str, value: Value) -> None:
        """State a fact of which this party is the writer; it goes to the outbox if it is new."""
        if self._facts.get(key) != value:
            self._facts[key] = value
            self._outbox[key] = value
            self.version += 1

    def take_changes(self) -> dict[str, Value]:
        """Return and forget what was written since the last call, to be published."""
        changes, self._outbox = self._outbox, {}
        return changes

    def apply(self, facts: Mapping[str, Value]) -> None:
        """Take over facts that others wrote."""
        if facts:
            self._facts.update(facts)
            self.version += 1

    def number(self, key: str, default: float = 0.0) -> float:
        """Return a fact as a number."""
        return float(self._facts.get(key, default))

    def word(self, key: str, default: str = "") -> str:
        """Return a fact as a word."""
        return str(self._facts.get(key, default))

    def flag(self, key: str) -> bool:
        """Return a fact as yes or no; what nobody stated is no."""
        return self._facts.get(key) is True

    def where(self, bolt: int) -> str:
        """Return where a bolt is: bin, tool, hole or floor."""
        return self.word(f"bolt.{bolt}.where", "bin")

    def advances_m(self) -> tuple[float, ...]:
        """Return the advances of all nuts, `FREE_ADVANCE_M` for those that touch nothing."""
        return tuple(
            self.number(f"bolt.{bolt}.advance_m", FREE_ADVANCE_M)
            for bolt in range(1, self.config.bolt_count + 1)
        )

    def settled(self) -> FlangeState:
        """Return loads and tilt as the advances make them."""
        if self._settled is None or self._settled[0] != self.version:
            self._settled = self.version, self.flange.settle(self.advances_m())
        return self._settled[1]

    def load_n(self, bolt: int) -> float:
        """Return the load of one bolt."""
        return self.settled().loads_n[bolt - 1]

    def grip(self, bolt: int) -> Grip:
        """Return the line on which a bolt's load runs while the others stand."""
        return self.flange.grip(self.advances_m(), bolt - 1)

    def advance_for(self, bolt: int, load_n: float) -> float:
        """Return the advance that gives one bolt a load while the others stand."""
        return advance_for(self.flange, self.advances_m(), bolt - 1, load_n)

    def law(self, bolt: int, friction_factor: float = 1.0) -> BoltLaw:
        """Return the torque law of one bolt, with its own friction."""
        config = self.config
        friction = config.friction * self._scatter.friction[bolt - 1] * friction_factor
        return BoltLaw(
            pitch_m=config.pitch_m,
            pitch_diameter_m=config.pitch_diameter_m,
            major_diameter_m=config.major_diameter_m,
            across_flats_m=config.across_flats_m,
            thread_friction=friction,
            face_friction=friction,
            running_nm=RUNNING_NM_M * config.major_diameter_m,
        )

    def stiction(self, bolt: int) -> float:
        """Return the break-out torque of a bolt that stood, over the kinetic one."""
        return self._scatter.stiction[bolt - 1]

    def thread_rad(self, bolt: int) -> float:
        """Return the angle at which the thread of a hole begins."""
        return self._scatter.threads[bolt - 1]

    def hex_rad(self, bolt: int) -> float:
        """Return the angle at which the hex of a bolt stands."""
        return self.number(f"bolt.{bolt}.hex_rad", self._scatter.hex_rad[bolt - 1])

    def bin_offset_m(self, bolt: int) -> tuple[float, float]:
        """Return how far a bolt stands from the middle of its place in the bin."""
        return self._scatter.bins[bolt - 1]

    def hole_offset_m(self, bolt: int) -> tuple[float, float]:
        """Return how far a hole was drilled from its place."""
        return self._scatter.holes[bolt - 1]

    def joint_shift(self) -> Pose:
        """Return how far the joint stands from where it was drawn, by the floor's word."""
        return Pose(
            self.number("joint.shift_x_m"),
            self.number("joint.shift_y_m"),
            self.number("joint.turn_rad"),
        )

    def _begin(self) -> None:
        """Facts known to all at the start; nobody publishes them."""
        if self.config.begins == "made_up":
            self._begin_made_up()
        elif self.config.begins != "open":
            raise ValueError(f"steel begins '{self.config.begins}', must be open or made_up")

    def _begin_made_up(self) -> None:
        loads = [self.config.preload_n * share for share in self._scatter.preload]
        for index, advance in enumerate(self.flange.advances_for(loads)):
            bolt = f"bolt.{index + 1}"
            self._facts[f"{bolt}.where"] = "hole"
            self._facts[f"{bolt}.turns"] = self.shoulder_turns
            self._facts[f"{bolt}.advance_m"] = advance
        self._facts["string"] = "held_by_hoist"


@dataclass(frozen=True, slots=True)
class _Scatter:
    """What differs from bolt to bolt, drawn from the seed alone, one generator per quantity."""

    friction: tuple[float, ...]
    preload: tuple[float, ...]
    stiction: tuple[float, ...]
    hex_rad: tuple[float, ...]
    threads: tuple[float, ...]
    bins: tuple[tuple[float, float], ...]
    holes: tuple[tuple[float, float], ...]

    @classmethod
    def of(cls, config: SteelConfig, seed: int | str) -> "_Scatter":
        bolts = range(config.bolt_count)

        def shares(what: str, spread: float) -> tuple[float, ...]:
            rng = random.Random(f"{seed}:{what}")
            return tuple(1.0 + spread * max(-3.0, min(3.0, rng.gauss(0.0, 1.0))) for _ in bolts)

        def even(what: str, low: float, high: float) -> tuple[float, ...]:
            rng = random.Random(f"{seed}:{what}")
            return tuple(rng.uniform(low, high) for _ in bolts)

        def spots(what: str, spread_m: float) -> tuple[tuple[float, float], ...]:
            rng = random.Random(f"{seed}:{what}")
            return tuple((rng.gauss(0.0, spread_m), rng.gauss(0.0, spread_m)) for _ in bolts)

        return cls(
            friction=shares("friction", FRICTION_SPREAD),
            preload=shares("preload", PRELOAD_SPREAD),
            stiction=even("stiction", *STICTION),
            hex_rad=even("hex", 0.0, 2.0 * math.pi),
            threads=even("thread", 0.0, 2.0 * math.pi),
            bins=spots("bin", BIN_SPREAD_M),
            holes=spots("hole", HOLE_SPREAD_M),
        )
