"""Decide the band of preload that a torque leaves when tool and friction are not exact.

Units: N, N*m; fractions without unit.
Invariants: BT10, the lowest preload is never above the nominal one, nor the nominal above the
highest.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum, sqrt

from coordinator.bolting.errors import BoltingError, require_above_zero, require_fraction
from coordinator.bolting.threads import Thread
from coordinator.bolting.torque import Friction, wedge_form_preload_n

TORQUE_WRENCH_LUBRICATED_FRACTION = 0.25
"""Preload uncertainty of a torque wrench on lubricated threads. NASA-STD-5020B, NSTS 08307."""

TORQUE_WRENCH_DRY_FRACTION = 0.35
"""Preload uncertainty of a torque wrench on unlubricated threads. NASA-STD-5020B, NSTS 08307."""

TORQUE_TOOL_FRACTION = 0.04
"""Permissible deviation of a hand torque tool above 10 N*m. ISO 6789."""


@dataclass(frozen=True, slots=True)
class FrictionBand:
    """The least, the expected and the most friction of one lubricant."""

    low: Friction
    nominal: Friction
    high: Friction

    def __post_init__(self) -> None:
        """Refuse a band whose coefficients do not rise (BLT006)."""
        for name in ("thread", "bearing"):
            low, nominal, high = (
                getattr(friction, name) for friction in (self.low, self.nominal, self.high)
            )
            if not low <= nominal <= high:
                raise BoltingError(
                    f"{name} friction is {low:g}, {nominal:g}, {high:g}, must not fall from low "
                    "to high; put the band in order",
                    "BLT006",
                )


@dataclass(frozen=True, slots=True)
class PreloadBand:
    """Lowest, nominal and highest preload that one torque may leave."""

    low_n: float
    nominal_n: float
    high_n: float

    @property
    def tightening_factor(self) -> float:
        """Highest over lowest preload, alpha_A of VDI 2230."""
        return self.high_n / self.low_n


def preload_band_n(
    torque_nm: float,
    thread: Thread,
    frictions: FrictionBand,
    bearing_diameter_m: float,
    *,
    tool_fraction: float = TORQUE_TOOL_FRACTION,
) -> PreloadBand:
    """Return the worst-case band: weak tool on high friction, strong tool on low friction.

    Args:
        torque_nm: Torque that the tool is set to.
        thread: The bolt's thread.
        frictions: What the lubricant may do.
        bearing_diameter_m: Mean rubbing diameter of the nut face.
        tool_fraction: Uncertainty of the tool, plus and minus, 0 to below 1.

    Raises:
        BoltingError: BLT005 or BLT012, an argument is out of range.
    """
    require_fraction("tool_fraction", tool_fraction)
    return PreloadBand(
        wedge_form_preload_n(
            torque_nm * (1.0 - tool_fraction), thread, frictions.high, bearing_diameter_m
        ),
        wedge_form_preload_n(torque_nm, thread, frictions.nominal, bearing_diameter_m),
        wedge_form_preload_n(
            torque_nm * (1.0 + tool_fraction), thread, frictions.low, bearing_diameter_m
        ),
    )


def fraction_band_n(preload_n: float, fraction: float) -> PreloadBand:
    """Return the band of plus and minus a fraction around a preload.

    Source:
        NASA-STD-5020B, nominal preload (1 - Gamma) to (1 + Gamma).
    """
    require_above_zero("preload_n", preload_n)
    require_fraction("fraction", fraction)
    return PreloadBand(preload_n * (1.0 - fraction), preload_n, preload_n * (1.0 + fraction))


def combined_fraction(*fractions: float) -> float:
    """Return the root of the sum of squares of independent fractions.

    Source:
        JCGM 100:2008 (GUM), 5.1.2, for a product or quotient of independent quantities.
    """
    for fraction in fractions:
        require_fraction("fraction", fraction)
    return sqrt(fsum(fraction**2 for fraction in fractions))


def mean_and_deviation(values: Sequence[float]) -> tuple[float, float]:
    """Return the mean and the sample standard deviation (n - 1) of at least two values.

    Raises:
        BoltingError: BLT016, fewer than two values.

    Source:
        Shigley, 9th ed., chapter 20 (sample mean and standard deviation).
    """
    count = len(values)
    if count < 2:
        raise BoltingError(f"sample has {count} values, must have at least 2; add values", "BLT016")
    mean = fsum(values) / count
    return mean, sqrt(fsum((value - mean) ** 2 for value in values) / (count - 1))
