"""State the exact conversion factors that the published tables need.

Units: each name says its own; all factors are exact by definition.
"""

INCH_M = 0.0254
"""International inch (1959 agreement), exact."""

POUND_FORCE_N = 4.4482216152605
"""Avoirdupois pound 0.45359237 kg times standard gravity 9.80665 m/s^2, exact."""

PSI_PA = POUND_FORCE_N / INCH_M**2
"""One pound-force per square inch."""

KSI_PA = 1000.0 * PSI_PA
"""One thousand pounds-force per square inch."""

MPA_PA = 1.0e6
"""One megapascal, equal to one newton per square millimetre."""

MILLIMETRE_M = 1.0e-3
"""One millimetre."""
