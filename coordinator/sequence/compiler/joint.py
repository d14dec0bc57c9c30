"""Decide the figures of a joint: target torque, rounds and limits, out of its file and the tables.

No torque is taken as a number from the file.

Units: m, N, N*m, Pa, rad; shares are fractions of one.
Invariants: SQ24, the target torque follows from stress and friction by the long form.
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeVar

from coordinator.bolting.constants import INCH_M
from coordinator.bolting.errors import BoltingError
from coordinator.bolting.grades import Strength, bolt_grade
from coordinator.bolting.load_evidence import Scatter
from coordinator.bolting.rounds import two_tool_order
from coordinator.bolting.threads import Thread, parse_thread
from coordinator.bolting.torque import Friction, wedge_form_preload_n, wedge_form_torque_nm
from coordinator.sequence.form.diagnostics import Findings
from coordinator.sequence.form.tree import Document, Teller, Trail
from coordinator.sequence.models.joint_model import (
    BoltsModel,
    FlangeModel,
    JointModel,
    ScatterModel,
)

_CHAMFER_M = 0.125 * INCH_M
# Chamfer of the nut face, K of API Spec 6A, annex on flange bolt torque.

_PIN = 2
# Hole of the first pin where a joint names none; chosen.
_ROUND_OFF = 1e-9
# Rounding of a share, which the file gives in per cent.

_BALANCE_SHARE = 0.2
# Of the target torque, where a joint gives no band; chosen.

_RING_TO_BOLTS = 8.0
# Where a joint does not say; chosen, metal to metal.
_SEATING_N = 20.0e3
# Where a joint does not say; chosen, some 2 t of pipe.

_Figure = TypeVar("_Figure")


@dataclass(frozen=True, slots=True)
class RoundFigures:
    """One round: its number from 1 and what must be reached."""

    number: int
    share: float
    torque_nm: float
    torque_least_nm: float
    torque_most_nm: float


@dataclass(frozen=True, slots=True)
class FlangeFigures:
    """How the faces give, and the pipe above them."""

    ring_to_bolts: float
    """Stiffness of the faces over that of all bolts together."""
    seating_n: float
    influence: tuple[tuple[float, ...], ...]
    """Given instead of both, empty where it is not."""
    pipe_diameter_m: float | None


@dataclass(frozen=True, slots=True)
class JointFigures:
    """Everything about a joint in SI units."""

    name: str
    text: str
    bolt_count: int
    thread: Thread
    grade: str
    strength: Strength
    bolt_circle_m: float
    grip_m: float
    engagement_m: float
    hex_across_flats_m: float
    pins: tuple[int, int]
    """Holes of the guide pins: of the first side, of the second side."""
    friction: float
    stress_pa: float
    preload_n: float
    torque_nm: float
    """Target torque of the last round."""
    torque_max_nm: float | None
    """The most that flange, gasket or nut allow, where the file gives it."""
    tolerance: float
    scatter: Scatter
    """What is declared of friction, stiffness and readings, for judging loads."""
    balance_nm: float
    """Allowed difference of the two sides while they pull."""
    rounds: tuple[RoundFigures, ...]
    check_angle_rad: float
    loosening_torque_max_nm: float
    proof_load_n: float
    """Stress area times proof stress, or times yield where the standard sets no proof stress."""
    proof_torque_nm: float
    """Torque that leaves the proof load in the bolt."""
    pairs: tuple[tuple[int, int], ...]
    """Opposite bolts in the order of pulling: (of the first side, of the second side)."""
    flange: FlangeFigures
    """How the faces share the load among the bolts."""

    @property
    def bearing_diameter_m(self) -> float:
        """Mean diameter on which the nut face rubs."""
        return bearing_diameter_m(self.thread, self.hex_across_flats_m)

    def preload_at_n(self, torque_nm: float) -> float:
        """Return the preload that a torque leaves at the joint's friction."""
        friction = Friction(self.friction, self.friction)
        return wedge_form_preload_n(torque_nm, self.thread, friction, self.bearing_diameter_m)


def bearing_diameter_m(thread: Thread, hex_across_flats_m: float) -> float:
    """Return the mean rubbing diameter of a nut face, (H + D + K)/2, H the flats of the file.

    Source:
        API Spec 6A, annex on flange bolt torque; there H = 1.5 D + 0.125 in, which is the heavy
        hex of ASME B18.2.2. With other nuts the flats of the joint file stand for H.
    """
    return (hex_across_flats_m + thread.major_diameter_m + _CHAMFER_M) / 2.0


def joint_figures(model: JointModel, document: Document, findings: Findings) -> JointFigures | None:
    """Return the figures of a joint, or None after telling `findings` why there are none.

    Args:
        model: The joint file, valid in form.
        document: The same file, for places.
        findings: Gathers SEQ009, SEQ017, SEQ049, SEQ053 and SEQ063.
    """
    bolts, tightening, flange = model.bolts, model.tightening, model.flange or FlangeModel()
    asked = _Asked(document, findings)
    pairs = asked.figure(("bolts", "count"), lambda: two_tool_order(bolts.count))
    thread = asked.figure(("bolts", "thread"), lambda: parse_thread(bolts.thread))
    if thread is None or pairs is None:
        return None
    strength = asked.figure(
        ("bolts", "grade"), lambda: bolt_grade(bolts.grade).at(thread.major_diameter_m)
    )
    if strength is None:
        return None
    preload_n = tightening.stress * thread.tensile_area_m2
    proof_load_n = (strength.proof_pa or strength.yield_pa) * thread.tensile_area_m2
    friction = Friction(tightening.friction, tightening.friction)
    bearing_m = bearing_diameter_m(thread, bolts.hex_across_flats)
    torque_nm = wedge_form_torque_nm(preload_n, thread, friction, bearing_m)
    asked.check_preload(preload_n, proof_load_n)
    asked.check_influence(flange, bolts.count)
    asked.check_pipe(flange, bolts)
    asked.check_torque(torque_nm * max(tightening.rounds), tightening.torque_max)
    asked.check_rounds(tightening.rounds)
    return JointFigures(
        name=model.joint,
        text=model.text,
        bolt_count=bolts.count,
        thread=thread,
        grade=bolts.grade,
        strength=strength,
        bolt_circle_m=bolts.bolt_circle,
        grip_m=bolts.grip,
        engagement_m=bolts.engagement,
        hex_across_flats_m=bolts.hex_across_flats,
        pins=asked.pins(bolts),
        friction=tightening.friction,
        stress_pa=tightening.stress,
        preload_n=preload_n,
        torque_nm=torque_nm,
        torque_max_nm=tightening.torque_max,
        tolerance=tightening.tolerance,
        scatter=_scatter(tightening.scatter),
        balance_nm=tightening.balance or _BALANCE_SHARE * torque_nm,
        rounds=_rounds(tightening.rounds, torque_nm, tightening.tolerance),
        check_angle_rad=tightening.check_angle,
        loosening_torque_max_nm=model.loosening.torque_max,
        proof_load_n=proof_load_n,
        proof_torque_nm=wedge_form_torque_nm(proof_load_n, thread, friction, bearing_m),
        pairs=pairs,
        flange=_flange(flange),
    )


def _scatter(scatter: ScatterModel | None) -> Scatter:
    if scatter is None:
        return Scatter()
    return Scatter(scatter.friction, scatter.stiffness, scatter.slope, scatter.snug, scatter.angle)


def _flange(flange: FlangeModel) -> FlangeFigures:
    return FlangeFigures(
        flange.stiffness or _RING_TO_BOLTS,
        flange.seating or _SEATING_N,
        flange.influence,
        flange.pipe,
    )


def _rounds(
    shares: tuple[float, ...], torque_nm: float, tolerance: float
) -> tuple[RoundFigures, ...]:
    return tuple(
        RoundFigures(
            number,
            share,
            share * torque_nm,
            share * torque_nm * (1.0 - tolerance),
            share * torque_nm * (1.0 + tolerance),
        )
        for number, share in enumerate(shares, 1)
    )


class _Asked(Teller):
    """Asks the tables and tells what they refuse."""

    def figure(self, trail: Trail, ask: Callable[[], _Figure]) -> _Figure | None:
        """Return what `ask` returns, or None after telling its refusal at `trail`."""
        try:
            return ask()
        except BoltingError as error:
            # The message of a refusal is made of the same three parts as ours.
            told = str(error).removesuffix(f" [{error.code}]")
            what, _, rest = told.partition(", must ")
            must, _, do = rest.partition("; ")
            self.tell(trail, "SEQ053", what, f"must {must}", f"{do} ({error.code})")
            return None

    def check_preload(self, preload_n: float, proof_load_n: float) -> None:
        """Tell of a stress that the bolts do not bear."""
        if preload_n > proof_load_n:
            what = f"stress leaves {preload_n:.0f} N in a bolt"
            must = f"must not exceed its proof load of {proof_load_n:.0f} N"
            self.tell(("tightening", "stress"), "SEQ049", what, must, "lower the stress")

    def check_influence(self, flange: FlangeModel, count: int) -> None:
        """Tell of a matrix that is not one of this joint, or that no flange could have."""
        rows, trail = flange.influence, ("flange", "influence")
        if not rows:
            return
        if len(rows) != count or any(len(row) != count for row in rows):
            sizes = ", ".join(str(len(row)) for row in rows)
            what = f"influence has {len(rows)} rows of {sizes} values"
            self.tell(trail, "SEQ009", what, f"must be {count} of {count}", "complete the matrix")
            return
        for place in range(count):
            gains = [abs(row[place]) for at, row in enumerate(rows) if at != place]
            if rows[place][place] != 1.0 or not sum(gains) < 1.0:
                what = (
                    f"in column {place + 1} bolt {place + 1} gains {rows[place][place]:g} and the "
                    f"others change by {sum(gains):g} in all"
                )
                must = "must be 1, and less than it"
                self.tell((*trail, place), "SEQ009", what, must, "correct the column")

    def check_pipe(self, flange: FlangeModel, bolts: BoltsModel) -> None:
        """Tell of a pipe that leaves no room for a socket."""
        if flange.pipe is not None and flange.pipe + bolts.hex_across_flats >= bolts.bolt_circle:
            what = f"pipe is {flange.pipe:g} m outside"
            must = f"must leave room for the hexes on a circle of {bolts.bolt_circle:g} m"
            self.tell(("flange", "pipe"), "SEQ009", what, must, "correct the pipe or the circle")

    def check_torque(self, torque_nm: float, limit_nm: float | None) -> None:
        """Tell of a target that is above the limit of the joint."""
        if limit_nm is not None and torque_nm > limit_nm:
            what = f"stress and rounds ask for {torque_nm:.0f} N.m"
            must = f"must not be above the joint's torque_max of {limit_nm:.0f} N.m"
            self.tell(("tightening", "torque_max"), "SEQ063", what, must, "lower the stress")

    def check_rounds(self, shares: tuple[float, ...]) -> None:
        """Tell of rounds that fall, or that end elsewhere than at the target.

        Source:
            ASME PCC-1, tables 1 and 3: rounds of 20 to 30 %, 50 to 70 % and 100 %.
        """
        for place, (before, share) in enumerate(pairwise(shares), 1):
            if share < before:
                what = f"round {place + 1} pulls to {share:.4g} of the target"
                must = f"must not be less than the {before:.4g} of the round before it"
                trail = ("tightening", "rounds", place)
                self.tell(trail, "SEQ009", what, must, "let the rounds rise")
        if abs(shares[-1] - 1.0) > _ROUND_OFF:
            what, must = f"last round pulls to {shares[-1]:.4g} of the target", "must pull to 100 %"
            trail = ("tightening", "rounds", len(shares) - 1)
            self.tell(trail, "SEQ009", what, must, "end with '100 %', or change the stress")

    def pins(self, bolts: BoltsModel) -> tuple[int, int]:
        """Return the holes of the guide pins; tells of holes that the joint does not have."""
        if bolts.pins is None:
            return _PIN, _PIN + bolts.count // 2
        for place, hole in enumerate(bolts.pins):
            if not 1 <= hole <= bolts.count:
                must = f"must be a bolt of the joint, 1 to {bolts.count}"
                what = f"pin stands in hole {hole}"
                self.tell(("bolts", "pins", place), "SEQ017", what, must, "correct the number")
        return bolts.pins
