"""Say between which bounds a record must lie to be accepted; a joint or a re-judgement sets them.

Units: angle radian, pressure pascal, slope newton metre per radian; tolerance a fraction.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

TOLERANCE = 0.05
"""Allowed difference from the target, as a fraction of it; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """Least and most, both still good."""

    least: float
    most: float


@dataclass(frozen=True, slots=True)
class Window:
    """Bounds for one kind of record; None where nothing is asked."""

    angle_rad: Bounds | None = None
    pressure_pa: Bounds | None = None
    slope_nm_per_rad: Bounds | None = None
    confirmations: int = 0
    """How often the torque must have been reached again, by the samples."""


@dataclass(frozen=True, slots=True)
class Windows:
    """All bounds that records are judged by."""

    tolerance: float = TOLERANCE
    name: str = ""
    kinds: tuple[tuple[str, Window], ...] = ()

    def of(self, kind: str) -> Window:
        """Return the bounds for a kind of record, without any if none are set."""
        return dict(self.kinds).get(kind, Window())

    def to_data(self) -> dict[str, Any]:
        """Return them as plain data, for the record store."""
        return {
            "tolerance": self.tolerance,
            "name": self.name,
            "kinds": {kind: asdict(window) for kind, window in self.kinds},
        }

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> "Windows":
        """Return the windows that `to_data` has written."""
        kinds = tuple((kind, _window(one)) for kind, one in sorted(data["kinds"].items()))
        return cls(float(data["tolerance"]), str(data["name"]), kinds)


@dataclass(frozen=True, slots=True)
class Calibration:
    """What is known of a tool's calibration; the days are ISO dates, empty if unknown."""

    side: str
    tool: str
    calibrated: str = ""
    due: str = ""


@dataclass(frozen=True, slots=True)
class Calibrations:
    """The calibrations of all tools of a run; None asks for none."""

    tools: tuple[Calibration, ...] = field(default=())

    def find(self, side: str, tool: str) -> Calibration | None:
        """Return what is known of a tool, None if nothing."""
        fits = (one for one in self.tools if (one.side, one.tool) == (side, tool))
        return next(fits, None)


def _window(data: Mapping[str, Any]) -> Window:
    return Window(
        angle_rad=_bounds(data["angle_rad"]),
        pressure_pa=_bounds(data["pressure_pa"]),
        slope_nm_per_rad=_bounds(data["slope_nm_per_rad"]),
        confirmations=int(data["confirmations"]),
    )


def _bounds(data: Mapping[str, Any] | None) -> Bounds | None:
    return None if data is None else Bounds(float(data["least"]), float(data["most"]))
