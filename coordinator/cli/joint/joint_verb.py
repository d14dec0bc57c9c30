"""The verb `joint`: the figures of a joint file, each with the source of its formula."""

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from rich.table import Table

from coordinator.bolting.constants import INCH_M
from coordinator.bolting.errors import BoltingError
from coordinator.bolting.hexes import (
    across_corners_m,
    heavy_hex_across_flats_m,
    metric_across_flats_m,
)
from coordinator.bolting.rounds import cross_order
from coordinator.bolting.scatter import (
    TORQUE_TOOL_FRACTION,
    TORQUE_WRENCH_DRY_FRACTION,
    TORQUE_WRENCH_LUBRICATED_FRACTION,
    FrictionBand,
    combined_fraction,
    fraction_band_n,
    preload_band_n,
)
from coordinator.bolting.separation import field_distance_m
from coordinator.bolting.tightening_stress import preload_at_yield_share_n, tightening_stress
from coordinator.bolting.torque import (
    NUT_FACTORS,
    Friction,
    linear_form_torque_nm,
    loosening_torque_nm,
    nut_factor,
    overall_friction,
    short_form_torque_nm,
    target_torque_index_nm_per_pa,
)
from coordinator.cautions import CAUTION
from coordinator.cli.files import read_or_exit
from coordinator.cli.joint.gauge import GaugeError, pressures_of, read_gauge
from coordinator.cli.output import Exit, Output
from coordinator.extras import missing_extra
from coordinator.rehearse.joint_study import PASSES_MAX, Study, spread
from coordinator.sequence import JointFigures, read_joint

LBF_FT_NM = 1.3558179483314004
LONG_FORM = "API 6A, flange bolt torque annex (formula from memory)"
FRICTION_FRACTION = 0.25
"""Of the friction, either way, for the scatter; chosen."""
FIELD_RESOLUTION_M = 0.014
STAND_S = 0.5
"""What the separation is shown for: an arm that stands half a second after; chosen."""

Row = tuple[str, float, str, str]


def print_joint(
    output: Output,
    path: Path,
    figure_folder: Path | None = None,
    *,
    calibration: Path | None = None,
    intensifier: float = 1.0,
) -> Exit:
    """Print the figures of a joint, and draw them where a folder is given.

    Args:
        output: Takes what is printed.
        path: The joint file.
        figure_folder: Where pictures go, None for none.
        calibration: A tool's calibration table, for the pressure of each round.
        intensifier: Its ratio between pump and tool, 1 for none.
    """
    from coordinator.rehearse.joint_study import studies

    if figure_folder is not None and (missing := missing_extra("figures", "--figures")):
        return output.refuse(missing)
    joint = read_or_exit(output, lambda: read_joint(path))
    rows = figures(joint)
    beyond: list[str] = []
    if calibration is not None:
        try:
            more, beyond = pressures_of(joint, read_gauge(calibration, intensifier))
        except GaugeError as error:
            return output.refuse(str(error))
        rows += more
    found = studies(joint)
    _print(output, joint, rows, found)
    for one in beyond:
        output.say(f"{calibration}: {one}")
    drawn: list[str] = []
    if figure_folder is not None:
        try:
            drawn = _draw(joint, found, figure_folder)
        except OSError as error:
            return output.refuse(f"{figure_folder}: {error.strerror}; name another folder")
        for one in drawn:
            output.say(f"drew {one}")
    output.say(CAUTION)
    output.document(
        ok=not beyond,
        beyond=beyond,
        joint=joint.name,
        figures=[
            {"figure": name, "value": value, "unit": unit, "source": source}
            for name, value, unit, source in rows
        ],
        pairs=joint.pairs,
        cross_order=cross_order(joint.bolt_count),
        rounds={name: _told(joint, study) for name, study in found.items()},
        drawn=drawn,
    )
    return Exit.FINDINGS if beyond else Exit.GOOD


def _print(
    output: Output, joint: JointFigures, rows: list[Row], found: Mapping[str, Study]
) -> None:
    """Print the figures, the orders, and how many rounds each way takes."""
    from coordinator.rehearse.joint_study import ways

    output.say(f"{joint.name}: {joint.text}")
    table = Table("figure", "value", "source", box=None, pad_edge=False)
    for name, value, unit, source in rows:
        table.add_row(name, f"{value:.6g} {unit}", source)
    output.people.print(table)
    pairs = "  ".join(f"{first}+{second}" for first, second in joint.pairs)
    order = " ".join(map(str, cross_order(joint.bolt_count)))
    output.say(f"pairs pulled together, in order: {pairs}  (MIL-HDBK-60, 5.7, Fig. 4)")
    output.say(f"one tool, in order: {order}  (ASME PCC-1, legacy pattern)")
    texts = {way.name: way.text for way in ways(joint)}
    for name, study in found.items():
        output.say(f"{texts[name]}: {_rounds(joint, study)}")
    output.say("(loads by a rigid plate on an elastic ring, or by the influence matrix given)")


def _rounds(joint: JointFigures, study: Study) -> str:
    """Say how many rounds bring every load into the window."""
    percent = f"±{joint.tolerance * 100:g} % of its load"
    written = len(joint.rounds)
    if study.rounds_needed is None:
        left = spread(study.round_loads_n[-1], joint.preload_n)
        return (
            f"not every bolt within {percent} after {written + PASSES_MAX} rounds "
            f"(one is still {left * 100:.1f} % off)"
        )
    more = study.rounds_needed - written
    left = spread(study.round_loads_n[-1], joint.preload_n)
    extra = f", {more} of them beyond the file's {written}" if more > 0 else ""
    return (
        f"every bolt within {percent} after {study.rounds_needed} rounds{extra} "
        f"(the worst then {left * 100:.1f} % off)"
    )


def _told(joint: JointFigures, study: Study) -> dict[str, Any]:
    """Return a study as it stands in the JSON document."""
    return {
        "needed": study.rounds_needed,
        "window": joint.tolerance,
        "loads_n": study.round_loads_n,
        "spread": [spread(loads, joint.preload_n) for loads in study.round_loads_n],
        "tilt_rad_max": max(
            math.hypot(pull.state.tilt_x_rad, pull.state.tilt_y_rad) for pull in study.pulls
        ),
        "gap_m_max": max(pull.state.gap_m for pull in study.pulls),
    }


def _draw(joint: JointFigures, found: Mapping[str, Study], folder: Path) -> list[str]:
    from coordinator.rehearse.joint_pictures import draw_joint

    folder.mkdir(parents=True, exist_ok=True)
    return [str(path) for path in draw_joint(joint, found, folder)]


def figures(joint: JointFigures) -> list[Row]:
    """Return (figure, value, unit, source) for everything worth printing."""
    return [*_sizes(joint), *_loads(joint), *_torques(joint), *_around(joint)]


def _sizes(joint: JointFigures) -> list[Row]:
    thread, flats_m = joint.thread, joint.hex_across_flats_m
    return [
        ("thread major diameter", thread.major_diameter_m * 1e3, "mm", "ASME B1.1 / ISO 724"),
        ("thread pitch", thread.pitch_m * 1e3, "mm", "ASME B1.1 / ISO 261"),
        ("pitch diameter", thread.pitch_diameter_m * 1e3, "mm", "ASME B1.1 / ISO 724"),
        ("tensile area", thread.tensile_area_m2 * 1e6, "mm²", "ASME B1.1 / ISO 898-1"),
        ("root area", thread.root_area_m2 * 1e6, "mm²", "ASME PCC-1, table H-1"),
        ("hex across flats", flats_m / INCH_M, "in", "the joint file"),
        ("hex across flats", flats_m * 1e3, "mm", "the joint file"),
        *_standard_hex(joint),
        ("hex across corners, sharp", across_corners_m(flats_m) * 1e3, "mm", "geometry"),
        ("turns to the shoulder", joint.engagement_m / thread.pitch_m, "", "geometry"),
    ]


def _standard_hex(joint: JointFigures) -> list[Row]:
    """Return the flats that a standard gives a nut of this size, heavy for inches; none beyond."""
    diameter_m = joint.thread.major_diameter_m
    if not joint.thread.designation.startswith("M"):
        flats_m, source = heavy_hex_across_flats_m(diameter_m), "ASME B18.2.2, heavy hex"
    else:
        try:
            flats_m, source = metric_across_flats_m(diameter_m), "ISO 272 (from memory)"
        except BoltingError:
            return []  # No such nut in the standard; the file's own flats stand above.
    return [("across flats of a standard nut", flats_m * 1e3, "mm", source)]


def _loads(joint: JointFigures) -> list[Row]:
    band = fraction_band_n(joint.preload_n, TORQUE_WRENCH_LUBRICATED_FRACTION)
    dry = fraction_band_n(joint.preload_n, TORQUE_WRENCH_DRY_FRACTION)
    stress = tightening_stress(joint.preload_n, joint.thread, joint.friction)
    yield_pa = joint.strength.yield_pa
    most_n = preload_at_yield_share_n(yield_pa, joint.thread, joint.friction)
    return [
        ("bolt stress", joint.stress_pa / 1e6, "MPa", "the joint file"),
        ("preload", joint.preload_n / 1e3, "kN", LONG_FORM),
        ("preload least, lubricated", band.low_n / 1e3, "kN", "NASA-STD-5020B, ±25 %"),
        ("preload most, lubricated", band.high_n / 1e3, "kN", "NASA-STD-5020B, ±25 %"),
        ("preload least, dry", dry.low_n / 1e3, "kN", "NASA-STD-5020B, ±35 %"),
        ("preload most, dry", dry.high_n / 1e3, "kN", "NASA-STD-5020B, ±35 %"),
        *_scatter(joint),
        ("combined stress while pulled", stress.combined_pa / 1e6, "MPa", "VDI 2230, R8"),
        ("share of yield while pulled", stress.combined_pa / yield_pa, "", "VDI 2230, R8"),
        ("preload at 90 % of yield", most_n / 1e3, "kN", "VDI 2230, R7"),
        ("proof load", joint.proof_load_n / 1e3, "kN", "ISO 898-1 / ASTM A193, A320"),
    ]


def _scatter(joint: JointFigures) -> list[Row]:
    """Return what the target torque leaves when neither tool nor friction is exact."""
    low, high = (joint.friction * (1.0 + sign * FRICTION_FRACTION) for sign in (-1.0, 1.0))
    frictions = FrictionBand(
        Friction(low, low), Friction(joint.friction, joint.friction), Friction(high, high)
    )
    band = preload_band_n(joint.torque_nm, joint.thread, frictions, joint.bearing_diameter_m)
    told = f"tool ±4 % (ISO 6789) and friction ±{FRICTION_FRACTION:.0%} (chosen), the worst of both"
    # The band of friction alone is not even; its wider half is taken for both.
    by_friction = preload_band_n(
        joint.torque_nm, joint.thread, frictions, joint.bearing_diameter_m, tool_fraction=0.0
    )
    share = max(
        by_friction.high_n / by_friction.nominal_n - 1.0,
        1.0 - by_friction.low_n / by_friction.nominal_n,
    )
    likely = combined_fraction(TORQUE_TOOL_FRACTION, share)
    return [
        ("preload least, worst case", band.low_n / 1e3, "kN", told),
        ("preload most, worst case", band.high_n / 1e3, "kN", told),
        ("likely scatter of preload, ±", likely * 100.0, "%", "the same, JCGM 100 (GUM), 5.1.2"),
    ]


def _torques(joint: JointFigures) -> list[Row]:
    thread, diameter_m = joint.thread, joint.thread.major_diameter_m
    friction = Friction(joint.friction, joint.friction)
    loosen_nm = loosening_torque_nm(joint.preload_n, thread, friction, joint.bearing_diameter_m)
    bearing_m = joint.bearing_diameter_m
    linear_nm = linear_form_torque_nm(joint.preload_n, thread, friction, bearing_m)
    solved = overall_friction(joint.torque_nm, joint.preload_n, thread, bearing_m)
    factor = nut_factor(joint.torque_nm, diameter_m, joint.preload_n)
    lubricated = NUT_FACTORS["lubricated"]
    short_nm = short_form_torque_nm(lubricated, diameter_m, joint.preload_n)
    index = target_torque_index_nm_per_pa(factor, diameter_m, thread.root_area_m2)
    shigley = "Shigley, 9th ed., eq. 8-27"
    return [
        ("target torque", joint.torque_nm, "N·m", LONG_FORM),
        ("target torque", joint.torque_nm / LBF_FT_NM, "lbf·ft", LONG_FORM),
        ("target torque, linear long form", linear_nm, "N·m", "ISO 16047; VDI 2230, R13"),
        ("friction behind that torque", solved, "", "ISO 16047, total coefficient"),
        ("nut factor of that torque", factor, "", shigley),
        ("short form, lubricated, K 0.18", short_nm, "N·m", f"{shigley}, table 8-15"),
        ("torque for each MPa, root area", index * 1e6, "N·m", "ASME PCC-1, appendix O"),
        ("loosening torque, sliding", loosen_nm, "N·m", "Shigley, 9th ed., eq. 8-2, 8-5, 8-6"),
        ("loosening, counted as seized", joint.loosening_torque_max_nm, "N·m", "the joint file"),
        *(
            (f"torque, round {one.number}", one.torque_nm, "N·m", "ASME PCC-1, tables 1 and 3")
            for one in joint.rounds
        ),
    ]


def _around(joint: JointFigures) -> list[Row]:
    distance_m = field_distance_m(STAND_S, FIELD_RESOLUTION_M)
    told = f"ISO 13855, {FIELD_RESOLUTION_M * 1e3:g} mm field, {STAND_S:g} s; information only"
    return [("distance of a light field", distance_m * 1e3, "mm", told)]
