"""Judge the load of each bolt against that of the others, by total turn, torque and slope.

Torque is not load: a bolt that rubs twice as hard comes to the same torque at half the load. Two
readings tell them apart. The turn of all nuts, through the stiffness of the joint, gives the load
up to a factor that is common to all. Torque over slope gives it again, since both are proportional
to the same friction. Their weighted mean, against the median of the others, needs neither the
stiffness nor the friction of the lot; so a lot that rubs alike is **not** seen by it.

The limits hold only if the declared scatters are true.

Units: radian, newton metre, newton metre per radian; scatters and shares without unit. Loads are
relative: only their ratios have a meaning.
Invariants: BT12, a bolt is compared with the median of the others, never with a mean that it moves.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, exp, log, pi, sin, sqrt
from statistics import NormalDist, median

from coordinator.bolting.errors import BoltingError, require_fraction

MARGIN = 1.1
"""On every declared scatter; a choice of the study behind `Scatter`, to keep false alarms rare."""
FRICTION_SHARE = 0.9
"""Of the scatter of friction, what stays in the comparison once the torque is known; likewise."""
FALSE_NEIGHBOUR, FALSE_CONSISTENCY = 0.003, 0.0015
"""Chosen: how often a good joint may be told of by each rule, over all its bolts."""
LEAST_BOLTS = 4
"""Chosen: with fewer the median of the others is one bolt."""
NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class Scatter:
    """What is declared of a joint, each one standard deviation."""

    friction: float = 0.05
    """Of friction within the lot, as a share."""
    stiffness: float = 0.03
    """Of a bolt's stiffness in its grip, as a share."""
    slope: float = 0.02
    """Of the slope that is read off the samples, as a share."""
    snug_rad: float = 3.0 * pi / 180.0
    """Of the turn at which counting begins."""
    angle_rad: float = 0.5 * pi / 180.0
    """Of each reading of an angle."""

    def __post_init__(self) -> None:
        """Refuse shares outside 0 to 1 (BLT012)."""
        for name in ("friction", "stiffness", "slope"):
            require_fraction(f"scatter of {name}", getattr(self, name))


@dataclass(frozen=True, slots=True)
class BoltReadings:
    """What one bolt showed; None where nothing was read."""

    turn_rad: float | None
    """Total turn of its nut from snug, all pulls added."""
    torque_nm: float | None
    """At the end of the last pull that counts."""
    slope_nm_per_rad: float | None
    """Of torque over turn in that pull."""


@dataclass(frozen=True, slots=True)
class BoltLoad:
    """What is known of one bolt's load beside the others'."""

    share: float
    """Its load over that of the others, as estimated."""
    band: tuple[float, float]
    """Of that share, 95 %."""
    is_outlier: bool
    disagrees: bool
    """Turn and slope tell different loads: settling, drag or galling."""


@dataclass(frozen=True, slots=True)
class Ring:
    """How a joint shares load among its bolts: a rigid plate on an even elastic ring."""

    ratio: float
    """Stiffness of the ring over that of all bolts together."""
    influence: tuple[tuple[float, ...], ...] = ()
    """A measured matrix instead: gain of the bolt of the row for one more on that of the column."""

    def loads(self, turns_rad: Sequence[float]) -> list[float]:
        """Return the load of each bolt at the turns of all nuts, up to a common factor.

        With an even ring and even spacing the plate follows the mean and the first harmonic of the
        turns by 1/(1 + ratio); every other pattern is held by the bolts alone.

        Source:
            closed form of F = k [I - B (Kq + k B'B)^-1 k B'] a for B = (1, cos, sin), derived.
        """
        if self.influence:
            return [
                sum(gain * turn for gain, turn in zip(row, turns_rad, strict=True))
                for row in self.influence
            ]
        count = len(turns_rad)
        angles = [2.0 * pi * place / count for place in range(count)]
        mean = sum(turns_rad) / count
        along, across = (
            2.0 / count * sum(turn * way(a) for turn, a in zip(turns_rad, angles, strict=True))
            for way in (cos, sin)
        )
        gives = 1.0 / (1.0 + self.ratio)
        return [
            turn - gives * (mean + along * cos(a) + across * sin(a))
            for turn, a in zip(turns_rad, angles, strict=True)
        ]


def compare_loads(
    readings: Sequence[BoltReadings], ring: Ring, scatter: Scatter
) -> tuple[BoltLoad | None, ...]:
    """Return for each bolt of a whole joint what its load is beside the others'.

    Args:
        readings: Of every bolt, in order around the circle.
        ring: How the joint shares load.
        scatter: What is declared; the limits follow from it.

    Returns:
        None for a bolt of which neither turn nor slope is known.

    Raises:
        BoltingError: BLT016, there are too few bolts to compare.

    Source:
        Estimators and limits: a Monte Carlo study of this project on rigid plate and elastic ring;
        tests hold them against another model. Median and known scatter instead of Grubbs: two like
        outliers hide each other there (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17).
    """
    if len(readings) < LEAST_BOLTS:
        raise BoltingError(
            f"there are {len(readings)} bolts, must be at least {LEAST_BOLTS}; give more", "BLT016"
        )
    errors = _Errors.of(readings, ring, scatter)
    by_turn = _centred(_logs_of_turn(readings, ring))
    by_slope = _centred([_log_of_slope(one) for one in readings])
    both = [errors.weighted(a, b) for a, b in zip(by_turn, by_slope, strict=True)]
    known = [one for one in both if one is not None]
    if len(known) < LEAST_BOLTS:
        return (None,) * len(readings)
    apart = [
        None if a is None or b is None else a - b for a, b in zip(by_turn, by_slope, strict=True)
    ]
    return tuple(
        _load_of(place, both, apart, errors) if both[place] is not None else None
        for place in range(len(readings))
    )


@dataclass(frozen=True, slots=True)
class _Errors:
    """Scatters of the logarithms, as they follow from what is declared."""

    turn: float
    slope: float
    between: float
    """Of a bolt beside the others, as they truly are and are read together."""
    reading: float
    """Of what is read alone."""
    count: int

    @classmethod
    def of(cls, readings: Sequence[BoltReadings], ring: Ring, scatter: Scatter) -> "_Errors":
        turns = [one.turn_rad for one in readings if one.turn_rad is not None and one.turn_rad > 0]
        count, ratio = len(readings), ring.ratio
        follows = (1.0 + 1.0 / ratio) * (1.0 - 3.0 / (count * (ratio + 1.0)))
        read_rad = sqrt(scatter.snug_rad**2 + 3.0 * scatter.angle_rad**2)
        turn = follows * read_rad / median(turns) if turns else 1.0
        reading = 1.0 / sqrt(turn**-2 + scatter.slope**-2)
        own = (FRICTION_SHARE * scatter.friction) ** 2 + scatter.stiffness**2
        return cls(turn, scatter.slope, MARGIN * sqrt(own + reading**2), reading, count)

    def weighted(self, by_turn: float | None, by_slope: float | None) -> float | None:
        """Return the mean of both, the surer one counting more; the one that there is."""
        if by_turn is None or by_slope is None:
            return by_slope if by_turn is None else by_turn
        sure, surer = self.turn**-2, self.slope**-2
        return (sure * by_turn + surer * by_slope) / (sure + surer)


def _logs_of_turn(readings: Sequence[BoltReadings], ring: Ring) -> list[float | None]:
    turns = [one.turn_rad for one in readings]
    known = [turn for turn in turns if turn is not None]
    if len(known) < LEAST_BOLTS:
        return [None] * len(readings)
    # A bolt whose turn is not known is taken as the others for what it does to its neighbours.
    loads = ring.loads([median(known) if turn is None else turn for turn in turns])
    return [
        None if turn is None else log(max(load, 1e-9))
        for turn, load in zip(turns, loads, strict=True)
    ]


def _centred(values: Sequence[float | None]) -> list[float | None]:
    """Return values less their median: each of both readings has a common factor of its own."""
    known = [one for one in values if one is not None]
    middle = median(known) if known else 0.0
    return [None if one is None else one - middle for one in values]


def _log_of_slope(one: BoltReadings) -> float | None:
    if not one.torque_nm or not one.slope_nm_per_rad or one.slope_nm_per_rad <= 0.0:
        return None
    return log(one.torque_nm / one.slope_nm_per_rad)


def _load_of(
    place: int, both: Sequence[float | None], apart: Sequence[float | None], errors: _Errors
) -> BoltLoad:
    beside = _beside(place, both)
    limit = _limit(FALSE_NEIGHBOUR, errors.count) * errors.between
    differs = 0.0 if apart[place] is None else _beside(place, apart)
    apart_limit = (
        _limit(FALSE_CONSISTENCY, errors.count) * MARGIN * sqrt(errors.turn**2 + errors.slope**2)
    )
    width = 1.96 * sqrt(errors.reading**2 + errors.between**2 / MARGIN**2 / errors.count)
    return BoltLoad(
        exp(beside),
        (exp(beside - width), exp(beside + width)),
        abs(beside) > limit,
        abs(differs) > apart_limit,
    )


def _beside(place: int, values: Sequence[float | None]) -> float:
    """Return a value less the median of the others."""
    own = values[place]
    others = [one for index, one in enumerate(values) if index != place and one is not None]
    return 0.0 if own is None or not others else own - median(others)


def _limit(false_share: float, count: int) -> float:
    """Return how many standard deviations so rare a false alarm is, over all bolts."""
    return NORMAL.inv_cdf(1.0 - false_share / (2.0 * count))
