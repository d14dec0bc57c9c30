"""What one simulated arm, or the hoist, works with: steel, causes, dice, clock, and its own state.

A change of state is written after the wait that brings it about, never before: what a hold cuts
short has not happened.

Units: SI.
"""

import math
import random
from collections.abc import Callable, Generator
from dataclasses import dataclass, field

from sim_arms.activity import HoldAsked, Wait
from sim_arms.causes import Causes, parameter
from sim_arms.physics.arm_chain import Point
from sim_arms.physics.camera import Camera, Light, Pose, Sight
from sim_arms.physics.motion import Way
from sim_arms.physics.wrench import WrenchModel
from sim_arms.steel import Steel

RETRACT_S = 2.0  # Drawing a tool back by a hand's breadth; chosen.
BRAKE_S = 0.25  # From full speed at the arm's greatest deceleration; chosen.
SLIDE_M = 0.15
"""How far a tool goes down on its slide to the work below its place; chosen."""
RELIEVE_S = 0.5  # Pump off and pressure gone; chosen.
FINISH_S = 2.0  # A short action that may be finished in a hold ends within this.

Steps = Generator[Wait, None, None]


class Unfit(Exception):  # noqa: N818 (it says what the action is)
    """The action cannot be taken up: unknown, wrong tool, a parameter missing or beyond a cap."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


@dataclass(slots=True)
class Estimates:
    """What the camera found; true for the arm until it looks again."""

    joint: Pose = field(default_factory=Pose)
    holes: dict[int, tuple[float, float]] = field(default_factory=dict)
    """Error of each hole from its drawn place, by bolt."""
    bins: dict[int, tuple[float, float]] = field(default_factory=dict)
    hexes: dict[int, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Motion:
    """A way that an arm's tool went, or part of it."""

    start_s: float
    end_s: float
    """When it came to rest, early where it was held."""
    way: Way


@dataclass(frozen=True, slots=True)
class Stop:
    """Where a hold stopped the tool on its way."""

    way: Way
    """The whole way, from the place where the arm last came to rest."""
    goal: str
    """Place to which it leads."""
    leg: int = 0
    share: float = 0.0
    """Of the line of that leg."""


@dataclass(slots=True)
class Bench:
    """One side's arm."""

    side: str
    steel: Steel
    causes: Causes
    rng: random.Random
    now_s: Callable[[], float]
    tool: str = ""
    socket_rad: float = 0.0
    speed_share: float = 1.0
    """Of full speed: the cap of the lease under which the action was begun."""
    holding: int = 0
    """Bolt in the retaining fork, 0 for none."""
    seated_on: int = 0
    """Bolt under the wrench's socket, 0 for none."""
    reaction_on: int = 0
    turned_over: bool = False
    estimates: Estimates = field(default_factory=Estimates)
    camera: Camera = field(default_factory=Camera)
    wrench: WrenchModel = field(default_factory=WrenchModel)
    stopped: Stop | None = None
    """Where a hold stopped the tool on its way; None where it rests at a place."""
    motions: list[Motion] = field(default_factory=list)
    """Every way gone, in order."""
    lowered: list[tuple[float, bool]] = field(default_factory=list)
    """From when on the tool was down on its slide, or on its way there or up; or was up."""

    @property
    def point(self) -> Point:
        """Where the tool rests."""
        if self.stopped is not None:
            return self.stopped.way.point_at(self.stopped.leg, self.stopped.share)
        return self.steel.layout.point(self.side, self.at)

    @property
    def at(self) -> str:
        """Place where the arm last came to rest."""
        return self.steel.word(f"arm.{self.side}.at", "park")

    def true_shift(self) -> Pose:
        """Where the joint truly stands: the floor's word and whatever has pushed it since."""
        shift = self.steel.joint_shift()
        for cause in self.causes.all_acting("joint_shift", self.now_s()):
            shift = Pose(
                shift.x_m + parameter(cause, "off_x"),
                shift.y_m + parameter(cause, "off_y"),
                shift.turn_rad + parameter(cause, "turn"),
            )
        for cause in self.causes.all_acting("heave", self.now_s()):
            turn = 2.0 * math.pi * self.now_s() / parameter(cause, "period")
            swing_m = parameter(cause, "amplitude") * math.sin(turn)
            shift = Pose(shift.x_m + swing_m, shift.y_m, shift.turn_rad)
        return shift

    def true_hole_m(self, bolt: int) -> tuple[float, float]:
        """How far a hole truly is from its drawn place."""
        drilled_x, drilled_y = self.steel.hole_offset_m(bolt)
        moved_x, moved_y = self.moved_m(bolt, self.true_shift())
        return drilled_x + moved_x, drilled_y + moved_y

    def believed_hole_m(self, bolt: int) -> tuple[float, float]:
        """How far the arm believes a hole to be from its drawn place."""
        found = self.estimates.holes.get(bolt)
        return self.moved_m(bolt, self.estimates.joint) if found is None else found

    def lateral_m(self, bolt: int) -> float:
        """Distance between where the arm goes for a hole and where the hole is."""
        true, believed = self.true_hole_m(bolt), self.believed_hole_m(bolt)
        return math.hypot(true[0] - believed[0], true[1] - believed[1])

    def moved_m(self, bolt: int, shift: Pose) -> tuple[float, float]:
        """How far a shift and turn of the joint move one hole."""
        x_m, y_m, _ = self.steel.layout.point(self.side, f"bolt.{bolt}")
        cosine, sine = math.cos(shift.turn_rad), math.sin(shift.turn_rad)
        return (
            shift.x_m + x_m * (cosine - 1.0) - y_m * sine,
            shift.y_m + y_m * (cosine - 1.0) + x_m * sine,
        )

    def look(self, true: Pose, bias: Pose | None = None, agrees: float = 1.0) -> Sight:
        """Look with the camera, in the light that there is.

        Args:
            true: Where the thing is.
            bias: What misleads this look.
            agrees: Share of the edges that agree with what was taken for the thing.
        """
        now_s, side = self.now_s(), self.side
        glare = self.causes.use("glare", now_s, side=side)
        knocked = self.causes.acting("camera_knocked", now_s, side=side)
        light = Light(
            glare=0.0 if glare is None else parameter(glare, "share"),
            blur=self.factor("lens_dirty", "factor"),
            agrees=agrees,
        )
        wrong = bias or Pose()
        if knocked is not None:
            off_x_m, off_y_m = parameter(knocked, "off_x"), parameter(knocked, "off_y")
            wrong = Pose(wrong.x_m + off_x_m, wrong.y_m + off_y_m, wrong.turn_rad)
        return self.camera.look(self.rng, true, wrong, light)

    def factor(self, cause: str, name: str, bolt: int | None = None) -> float:
        """Return a factor that a cause sets, 1 where it does not act."""
        acting = self.causes.acting(cause, self.now_s(), side=self.side, bolt=bolt)
        return 1.0 if acting is None else parameter(acting, name)

    def supply_pa(self) -> float:
        """Return the hydraulic supply pressure that this side has now."""
        low = self.causes.acting("supply_low", self.now_s(), side=self.side)
        full = self.wrench.supply_pa
        return full if low is None else min(full, parameter(low, "pressure"))


@dataclass(slots=True)
class HoistBench:
    """The hoist with its operator, answered by the floor."""

    steel: Steel
    causes: Causes
    rng: random.Random
    now_s: Callable[[], float]
    signals: dict[str, bool | None] = field(
        default_factory=lambda: {"string_still": True, "nothing_overhead": True}
    )
    """What the hoist means these signals to be; the floor publishes them."""
    string_low: list[tuple[float, str]] = field(default_factory=list)
    """From when on the string was where this word says, or on its way up from there."""


@dataclass(frozen=True, slots=True)
class Course:
    """Time spent by an arm's action, with what a hold does to it."""

    bench: Bench
    on_hold: str

    def spend(self, duration_s: float, after_s: float = 0.0) -> Steps:
        """Let time pass; a hold brakes it, or lets it finish when little is left.

        Args:
            duration_s: The time.
            after_s: What the action still needs afterwards.
        """
        started_s = self.bench.now_s()
        try:
            yield Wait(duration_s)
        except HoldAsked:
            left_s = max(0.0, duration_s - (self.bench.now_s() - started_s))
            if self.on_hold == "finish" and left_s + after_s <= FINISH_S:
                yield Wait(left_s)
                return
            yield Wait(BRAKE_S)
            if self.on_hold == "retract":
                yield from self.retract()
            raise

    def retract(self) -> Steps:
        """Draw the tool back from what it was at."""
        yield Wait(RETRACT_S)
        self.bench.lowered.append((self.bench.now_s(), False))
        self.bench.seated_on = self.bench.reaction_on = 0

    def lower(self, duration_s: float, after_s: float = 0.0) -> Steps:
        """Put the tool down to the work on its slide; args as in `spend`."""
        self.bench.lowered.append((self.bench.now_s(), True))
        yield from self.spend(duration_s, after_s)

    def raise_tool(self, duration_s: float, after_s: float = 0.0) -> Steps:
        """Draw the tool up on its slide; one that a hold stopped half way counts as down."""
        yield from self.spend(duration_s, after_s)
        self.bench.lowered.append((self.bench.now_s(), False))

    def travel(self, place: str, after_s: float = 0.0) -> Steps:
        """Go to a place; one that was held on its way goes on along it, or back to where it began.

        So what an arm can sweep is known beforehand, wherever it is held.
        """
        bench = self.bench
        factor = bench.factor("slow_arm", "factor") / bench.speed_share
        if bench.stopped is not None:
            is_on_its_way = bench.stopped.goal == place
            yield from self._go(bench.stopped, factor, after_s, onward=is_on_its_way)
        if bench.at == place:
            return
        start, end = bench.point, bench.steel.layout.point(bench.side, place)
        way = Way.between(bench.steel.chains[bench.side], bench.steel.layout, start, end, factor)
        yield from self._go(Stop(way, place), factor, after_s)

    def _go(self, stop: Stop, factor: float, after_s: float, *, onward: bool = True) -> Steps:
        """Go on from a spot of a way to its goal, or back to its begin."""
        bench, started_s = self.bench, self.bench.now_s()
        # A tool that is still down is drawn up while the arm begins to rise.
        bench.lowered.append((started_s + RETRACT_S, False))
        whole = stop.way
        way = (whole.onward if onward else whole.back)(stop.leg, stop.share, factor)
        try:
            yield from self.spend(way.duration_s, after_s)
        except HoldAsked:
            leg, share = way.spot(bench.now_s() - started_s)
            there = (stop.leg + leg, share) if onward else (stop.leg - leg, 1.0 - share)
            bench.stopped = Stop(whole, stop.goal, *there)
            bench.motions.append(Motion(started_s, bench.now_s(), way))
            raise
        bench.motions.append(Motion(started_s, bench.now_s(), way))
        bench.stopped = None
        if onward:
            bench.steel.write(f"arm.{bench.side}.at", stop.goal)
