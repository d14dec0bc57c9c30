"""The verb `joint`: the figures of a joint file, each with the source of its formula."""

from pathlib import Path

from rich.table import Table

from coordinator.bolting.constants import INCH_M
from coordinator.bolting.scatter import (
    TORQUE_WRENCH_DRY_FRACTION,
    TORQUE_WRENCH_LUBRICATED_FRACTION,
    fraction_band_n,
)
from coordinator.cli.files import read_or_exit
from coordinator.cli.output import CAUTION, Exit, Output
from coordinator.sequence import JointFigures, read_joint


def print_joint(output: Output, path: Path) -> Exit:
    """Print the figures of a joint."""
    joint = read_or_exit(output, lambda: read_joint(path))
    table = Table("figure", "value", "source", box=None, pad_edge=False)
    rows = figures(joint)
    for name, value, unit, source in rows:
        table.add_row(name, f"{value:.6g} {unit}", source)
    output.say(f"{joint.name}: {joint.text}")
    output.people.print(table)
    pairs = "  ".join(f"{first}+{second}" for first, second in joint.pairs)
    output.say(f"pairs pulled together, in order: {pairs}  (MIL-HDBK-60, 5.7, Fig. 4)")
    output.say(CAUTION)
    output.document(
        ok=True,
        joint=joint.name,
        figures=[
            {"figure": name, "value": value, "unit": unit, "source": source}
            for name, value, unit, source in rows
        ],
        pairs=joint.pairs,
    )
    return Exit.GOOD


def figures(joint: JointFigures) -> list[tuple[str, float, str, str]]:
    """Return (figure, value, unit, source) for everything worth printing."""
    thread = joint.thread
    band = fraction_band_n(joint.preload_n, TORQUE_WRENCH_LUBRICATED_FRACTION)
    dry = fraction_band_n(joint.preload_n, TORQUE_WRENCH_DRY_FRACTION)
    long_form = "API 6A, flange bolt torque annex (formula from memory)"
    rows = [
        ("thread major diameter", thread.major_diameter_m * 1e3, "mm", "ASME B1.1 / ISO 724"),
        ("thread pitch", thread.pitch_m * 1e3, "mm", "ASME B1.1 / ISO 261"),
        ("tensile area", thread.tensile_area_m2 * 1e6, "mm²", "ASME B1.1 / ISO 898-1"),
        ("root area", thread.root_area_m2 * 1e6, "mm²", "ASME PCC-1, table H-1"),
        ("hex across flats", joint.hex_across_flats_m / INCH_M, "in", "the joint file"),
        ("bolt stress", joint.stress_pa / 1e6, "MPa", "the joint file"),
        ("preload", joint.preload_n / 1e3, "kN", long_form),
        ("preload least, lubricated", band.low_n / 1e3, "kN", "NASA-STD-5020B, ±25 %"),
        ("preload most, lubricated", band.high_n / 1e3, "kN", "NASA-STD-5020B, ±25 %"),
        ("preload least, dry", dry.low_n / 1e3, "kN", "NASA-STD-5020B, ±35 %"),
        ("preload most, dry", dry.high_n / 1e3, "kN", "NASA-STD-5020B, ±35 %"),
        ("target torque", joint.torque_nm, "N·m", long_form),
        ("target torque", joint.torque_nm / 1.3558179483314004, "lbf·ft", long_form),
        ("proof load", joint.proof_load_n / 1e3, "kN", "ISO 898-1 / ASTM A193, A320"),
    ]
    rows += [
        (f"torque, round {one.number}", one.torque_nm, "N·m", "ASME PCC-1, tables 1 and 3")
        for one in joint.rounds
    ]
    return rows
