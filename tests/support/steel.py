"""An eight-bolt joint for tests; its figures are recalled from the 2-8UN table, rounded."""

from sim_arms.steel import SteelConfig

SIDES = ("fore", "aft")


def small_joint(begins: str = "open") -> SteelConfig:
    """Return eight 2-8UN studs, the first four served by fore."""
    return SteelConfig(
        bolt_count=8,
        pitch_m=3.175e-3,
        major_diameter_m=50.8e-3,
        pitch_diameter_m=48.74e-3,
        engagement_m=60.0e-3,
        grip_m=0.21,
        bolt_circle_radius_m=0.3015,
        tensile_area_m2=1.787e-3,
        youngs_pa=205.0e9,
        yield_pa=724.0e6,
        friction=0.07,
        across_flats_m=79.4e-3,
        sides=SIDES,
        side_of_bolt=("fore",) * 4 + ("aft",) * 4,
        begins=begins,
        preload_n=0.45e6 if begins == "made_up" else 0.0,
    )
