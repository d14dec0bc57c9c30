"""Describe a joint file: its bolts, how they are tightened and how hard they may be to loosen.

Units: lengths metre, stress pascal, torque newton metre, shares fractions of one.
"""

from typing import Annotated

from pydantic import Field

from coordinator.sequence.fields import Angle, Length, Name, Pressure, Share, Strict, Torque


class BoltsModel(Strict):
    """The bolts: all alike, numbered clockwise from 1."""

    count: int = Field(ge=4, le=32)
    thread: str
    grade: str
    bolt_circle: Length
    grip: Length
    engagement: Length
    hex_across_flats: Length
    pins: tuple[int, int] | None = None
    """Holes of the two guide pins; without them hole 2 and the opposite one."""


class TighteningModel(Strict):
    """The stress to reach and the rounds that lead there."""

    stress: Pressure
    friction: float = Field(ge=0.01, lt=1.0)
    rounds: tuple[Annotated[Share, Field(le=1.5)], ...] = Field(min_length=1, max_length=8)
    check_angle: Angle
    tolerance: Annotated[Share, Field(lt=1.0)]
    balance: Torque | None = None
    """Allowed difference of the two sides while they pull; without it a fifth of the target."""


class LooseningModel(Strict):
    """The limit of breaking loose."""

    torque_max: Torque


class JointModel(Strict):
    """The whole of a joint file."""

    joint: Name
    text: str
    bolts: BoltsModel
    tightening: TighteningModel
    loosening: LooseningModel
