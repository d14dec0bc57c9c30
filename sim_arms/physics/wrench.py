"""Turn oil into torque: piston, lever, ratchet stroke, intensifier, and the wind-up of the tool.

Units: metre, square metre, pascal, newton metre, radian, second.
"""

import math
from dataclasses import dataclass

OUTSIDE_PA = 101_325.0  # Standard atmosphere, exact by definition (ISO 2533).


@dataclass(frozen=True, slots=True)
class WrenchModel:
    """A hydraulic ratchet wrench on an intensified supply.

    Chosen for 8 kN.m at full supply; supply and ratio are common practice, no source.
    """

    piston_area_m2: float = 1.6e-3
    lever_m: float = 0.08
    efficiency: float = 0.9
    stroke_rad: float = math.radians(24.0)
    backlash_rad: float = math.radians(1.0)
    """Free run at the start of each stroke until the pawl bites a tooth; chosen."""
    flow_m3_s: float = 4.0e-6
    """Behind the intensifier, 0.24 L/min: slow enough that two wrenches rise alike; chosen."""
    return_s: float = 3.0
    windup_nm_rad: float = 40.0e3
    """Torque for each radian that tool and reaction arm give way; chosen, 700 N.m a degree."""
    supply_pa: float = 21.0e6
    intensifier: float = 3.3
    oil_m3: float = 0.8e-3
    """In hose and wrench behind the intensifier; chosen."""

    def torque_nm(self, pressure_pa: float) -> float:
        """Return the torque of a pressure: piston force on its lever."""
        return pressure_pa * self.piston_area_m2 * self.lever_m * self.efficiency

    def pressure_pa(self, torque_nm: float) -> float:
        """Return the pressure that a torque needs."""
        return torque_nm / (self.piston_area_m2 * self.lever_m * self.efficiency)

    def reachable_nm(self, supply_pa: float) -> float:
        """Return the most torque that a supply pressure gives through the intensifier."""
        return self.torque_nm(self.intensifier * supply_pa)

    def air_s(self, share: float, from_nm: float, to_nm: float) -> float:
        """Return how much longer a rise of torque takes while the pump presses air together.

        Args:
            share: Of the oil that is air at the pressure outside, 0 to 1.
            from_nm: Torque before.
            to_nm: Torque after; where it is less, nothing is pumped.

        Source:
            Boyle's law: pressure times volume of the air stays.
        """
        before_pa, after_pa = (
            OUTSIDE_PA + self.pressure_pa(torque) for torque in (from_nm, max(from_nm, to_nm))
        )
        pressed_m3 = share * self.oil_m3 * OUTSIDE_PA * (1.0 / before_pa - 1.0 / after_pa)
        return pressed_m3 / self.flow_m3_s

    @property
    def speed_rad_s(self) -> float:
        """How fast the pump's flow moves the drive through its stroke."""
        return self.flow_m3_s / (self.piston_area_m2 * self.lever_m)

    @property
    def rated_nm(self) -> float:
        """Torque at full supply."""
        return self.reachable_nm(self.supply_pa)
