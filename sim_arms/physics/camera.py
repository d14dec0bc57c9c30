"""What a camera on an arm makes of a thing: a pose with noise, and how far to trust it.

Units: metre, radian; confidence from 0 to 1.
"""

import random
from dataclasses import dataclass

CONFIDENCE_MIN = 0.6
"""Below it no pose is given out; chosen."""


@dataclass(frozen=True, slots=True)
class Pose:
    """Place and turn in the plane of the joint."""

    x_m: float = 0.0
    y_m: float = 0.0
    turn_rad: float = 0.0


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
    clarity: float = 0.95

    def look(
        self, rng: random.Random, true: Pose, bias: Pose | None = None, glare: float = 0.0
    ) -> Sight:
        """Return what the camera makes of a pose.

        Args:
            rng: The arm's own generator; four numbers are drawn.
            true: Where the thing is.
            bias: What is added by a misled camera, which does not know it.
            glare: Share of the edges lost in glare, 0 to 1.
        """
        wrong = bias or Pose()
        lit = max(0.05, 1.0 - glare)
        confidence = self.clarity * lit + rng.gauss(0.0, 0.01)
        return Sight(
            Pose(
                true.x_m + wrong.x_m + rng.gauss(0.0, self.noise_m / lit),
                true.y_m + wrong.y_m + rng.gauss(0.0, self.noise_m / lit),
                true.turn_rad + wrong.turn_rad + rng.gauss(0.0, self.noise_rad / lit),
            ),
            min(1.0, max(0.0, confidence)),
        )
