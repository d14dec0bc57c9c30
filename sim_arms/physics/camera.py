"""What a camera on an arm makes of a thing: a pose with noise, and how far to trust it.

The confidence is a probability: that the place given out lies within `WITHIN_M` of the true one,
as far as the camera can know from its own edges. A bias that all edges share it cannot know.

Units: metre, radian; confidence from 0 to 1.
"""

import math
import random
from dataclasses import dataclass

WITHIN_M = 0.4e-3
"""What the confidence speaks of; chosen, a sixth of what the lead-in of a large thread takes up."""
CONFIDENCE_MIN = 0.75
"""Below it no pose is given out; chosen."""
SPREAD_SHARE = 0.05
"""How well a camera judges its own spread: two hundred edges leave one part in twenty."""


@dataclass(frozen=True, slots=True)
class Pose:
    """Place and turn in the plane of the joint."""

    x_m: float = 0.0
    y_m: float = 0.0
    turn_rad: float = 0.0


@dataclass(frozen=True, slots=True)
class Light:
    """What the camera has to see by."""

    glare: float = 0.0
    """Share of the edges lost in glare, 0 to 1."""
    blur: float = 1.0
    """How much wider dirt makes the noise of each edge, from 1."""
    agrees: float = 1.0
    """Share of the edges that agree with what was taken for the thing, 0 to 1."""


CLEAR = Light()


@dataclass(frozen=True, slots=True)
class Sight:
    """What the camera says."""

    pose: Pose
    confidence: float

    @property
    def trusted(self) -> bool:
        """Whether the pose may be used."""
        return self.confidence >= CONFIDENCE_MIN


@dataclass(frozen=True, slots=True)
class Camera:
    """Noise of one camera in good light; the spread grows as the light gets worse."""

    noise_m: float = 0.15e-3
    noise_rad: float = 0.008
    """About half a degree, chosen."""

    def look(
        self, rng: random.Random, true: Pose, bias: Pose | None = None, light: Light = CLEAR
    ) -> Sight:
        """Return what the camera makes of a pose.

        Args:
            rng: The arm's own generator; four numbers are drawn.
            true: Where the thing is.
            bias: What is added by a misled camera, which does not know it.
            light: What there is to see by.
        """
        wrong = bias or Pose()
        wider = light.blur / max(0.05, 1.0 - light.glare)
        judged_m = self.noise_m * wider * max(0.5, 1.0 + rng.gauss(0.0, SPREAD_SHARE))
        return Sight(
            Pose(
                true.x_m + wrong.x_m + rng.gauss(0.0, self.noise_m * wider),
                true.y_m + wrong.y_m + rng.gauss(0.0, self.noise_m * wider),
                true.turn_rad + wrong.turn_rad + rng.gauss(0.0, self.noise_rad * wider),
            ),
            light.agrees * within(WITHIN_M, judged_m),
        )


def within(radius_m: float, spread_m: float) -> float:
    """Return the probability that a place with this spread along both axes is this near.

    Source:
        Rayleigh distribution, 1 - exp(-r^2 / (2 s^2)), as in JCGM 101:2008 for two independent
        normal quantities of one spread (from memory).
    """
    return 1.0 - math.exp(-(radius_m**2) / (2.0 * spread_m**2))
