"""Describe a joint file: its bolts, how they are tightened and how hard they may be to loosen.

Units: lengths metre, stress pascal, torque newton metre, shares fractions of one.
"""

from typing import Annotated

from pydantic import Field

from coordinator.bolting.load_evidence import Scatter
from coordinator.sequence.models.fields import (
    Angle,
    Force,
    Length,
    Name,
    Pressure,
    Share,
    Strict,
    Torque,
)


class BoltsModel(Strict):
    """The bolts: all alike, numbered clockwise from 1."""

    count: int = Field(ge=4, le=32, json_schema_extra={"multipleOf": 2})
    """How many bolts; even, 4 to 32."""
    thread: str
    """Such as 2-8UN or M30x3.5."""
    grade: str
    """Such as A193 B7 or "8.8"."""
    bolt_circle: Length
    """Diameter of the circle on which the bolts stand."""
    grip: Length
    """Length between the bearing faces."""
    engagement: Length
    """How far the thread runs in before the shoulder lands."""
    hex_across_flats: Length
    """Width of nut or head across flats."""
    pins: tuple[int, int] | None = None
    """Holes of the two guide pins; without them hole 2 and the opposite one."""


_SCATTER = Scatter()


class ScatterModel(Strict):
    """One standard deviation of each, by which the load of a bolt is judged beside the others'."""

    friction: Annotated[Share, Field(gt=0.0, le=0.5)] = _SCATTER.friction
    """Of friction within the lot, by a friction test of it."""
    stiffness: Annotated[Share, Field(gt=0.0, le=0.5)] = _SCATTER.stiffness
    """Of a bolt's stiffness in its grip."""
    slope: Annotated[Share, Field(gt=0.0, le=0.5)] = _SCATTER.slope
    """Of the slope that is read off the samples of a pull."""
    snug: Angle = _SCATTER.snug_rad
    """Of the turn at which counting begins."""
    angle: Angle = _SCATTER.angle_rad
    """Of each reading of an angle."""


class TighteningModel(Strict):
    """The stress to reach and the rounds that lead there."""

    stress: Pressure
    """To be reached in the stress area at the end."""
    friction: float = Field(ge=0.01, lt=1.0)
    """In thread and nut face."""
    rounds: tuple[Annotated[Share, Field(le=1.5)], ...] = Field(min_length=1, max_length=8)
    """Share of the target torque in each round, rising to 100 %."""
    check_angle: Angle
    """How far a nut may turn in the check pass."""
    tolerance: Annotated[Share, Field(lt=1.0)]
    """Accepted deviation of torque about the target."""
    torque_max: Torque | None = None
    """The most that flange, gasket or nut allow, by their maker; without it the bolt decides."""
    scatter: ScatterModel | None = None
    """What is declared for judging loads; without it 5 %, 3 %, 2 %, 3 and 0.5 degrees."""
    balance: Torque | None = None
    """Allowed difference of the two sides while they pull; without it a fifth of the target."""


class LooseningModel(Strict):
    """The limit of breaking loose."""

    torque_max: Torque
    """Above this a bolt counts as seized."""


class FlangeModel(Strict):
    """How the faces share the load among the bolts, and the pipe that arms keep clear of."""

    stiffness: float | None = Field(default=None, ge=0.01, le=1000.0)
    """Stiffness of the faces over that of all bolts together; without it 8."""
    seating: Force | None = None
    """What presses the faces together before any bolt does, a weight; without it 20 kN."""
    influence: tuple[tuple[float, ...], ...] = ()
    """Instead of both, a row for each bolt: its gain for 1 N more on the bolt of the column."""
    pipe: Length | None = None
    """Outside diameter of the pipe above the joint."""


class JointModel(Strict):
    """The whole of a joint file."""

    KIND = "joint"

    joint: Name
    """Its name."""
    text: str
    """What it is."""
    bolts: BoltsModel
    """Number, size and strength of the bolts."""
    tightening: TighteningModel
    """How hard they are pulled, and in which rounds."""
    loosening: LooseningModel
    """How hard they may be to break loose."""
    flange: FlangeModel | None = None
    """How its faces give; without it the stiffness and the seating load of most joints."""
