"""Describe a file of windows: between what bounds records must lie, for judging them again.

Units: angle radian, pressure pascal, torque newton metre, shares fractions of one.
"""

from typing import Annotated

from pydantic import Field

from coordinator.sequence.models.cell_model import RecordWord
from coordinator.sequence.models.fields import Angle, Name, Pressure, Share, Strict, Torque


class WindowModel(Strict):
    """Bounds for one kind of record: least and most, both still good."""

    angle: tuple[Angle, Angle] | None = None
    """How far the nut must have turned."""
    pressure: tuple[Pressure, Pressure] | None = None
    """What the wrench must have stopped at."""
    slope_per_degree: tuple[Torque, Torque] | None = None
    """Rise of torque with each degree while the bolt stretches."""
    confirmations: int = Field(0, ge=0, le=4)
    """How often the samples must show the target reached."""


class WindowsModel(Strict):
    """The whole of a file of windows."""

    KIND = "windows"

    windows: Name
    """Its name."""
    text: str = ""
    """What they are for."""
    tolerance: Annotated[Share, Field(lt=1.0)]
    """Accepted deviation of torque about the target."""
    kinds: dict[RecordWord, WindowModel] = Field(default_factory=dict)
    """Further bounds, for each kind of record."""
