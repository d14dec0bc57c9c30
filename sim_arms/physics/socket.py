"""Decide whether a socket drops over a hex, from the angle between them and the play.

Units: metre, radian.
"""

import math
from dataclasses import dataclass

SIXTH_RAD = math.pi / 3.0


@dataclass(frozen=True, slots=True)
class Burr:
    """Metal raised on one corner of a hex; it takes play where the tight socket corner meets it.

    A worn socket has one corner tighter than the others, so turning the socket by whole sixths
    brings another corner over the burr.
    """

    height_m: float
    corner: int
    """Which sixth of the socket meets it, 0 to 5."""


@dataclass(frozen=True, slots=True)
class HexFit:
    """A hexagonal socket over a hex."""

    across_flats_m: float
    clearance_m: float
    """Across flats of the socket less across flats of the hex."""
    mouth_rad: float
    """Angle that the chamfered mouth turns the socket by itself."""

    def play_rad(self, clearance_m: float) -> float:
        """Return the angle to either side that a clearance leaves; negative when it is jammed.

        The corner of the hex, half the flats over cos 30, meets the flat of the socket.
        """
        ratio = (1.0 + clearance_m / self.across_flats_m) * math.cos(math.pi / 6.0)
        return math.pi / 6.0 - math.acos(min(1.0, ratio))

    def drops(self, socket_rad: float, hex_rad: float, burr: Burr | None = None) -> bool:
        """Tell whether a socket that does not turn drops over the hex."""
        phase = socket_rad - hex_rad
        sixth = round(phase / SIXTH_RAD)
        play = self._play_at(sixth, burr)
        return play > 0.0 and abs(phase - sixth * SIXTH_RAD) <= play + self.mouth_rad

    def floats_down(self, socket_rad: float, hex_rad: float, burr: Burr | None = None) -> float:
        """Return how far a socket turns until it drops, floating down while it turns forward.

        It drops at the first corner that it meets, which is at most a sixth away; a burr without
        any play left there catches it, and it turns no further.

        Returns:
            The angle turned, 0 to 60 degrees; NaN when it stays standing on the hex.
        """
        phase = socket_rad - hex_rad
        sixth = self.first_met(socket_rad, hex_rad)
        if self._play_at(sixth, burr) <= 0.0:
            return math.nan
        return max(0.0, sixth * SIXTH_RAD - phase)

    def first_met(self, socket_rad: float, hex_rad: float) -> int:
        """Return the sixth at which a socket turning forward first finds the hex, unwrapped."""
        capture = self.play_rad(self.clearance_m) + self.mouth_rad
        return math.ceil((socket_rad - hex_rad - capture) / SIXTH_RAD)

    def _play_at(self, sixth: int, burr: Burr | None) -> float:
        if burr is None or burr.corner % 6 != sixth % 6:
            return self.play_rad(self.clearance_m)
        return self.play_rad(self.clearance_m - burr.height_m)
