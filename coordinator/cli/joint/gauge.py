"""Tell the pressure to set for each torque, by a tool's calibration table and the intensifier.

The table is a CSV file with the columns `pressure` and `torque`, every value with its unit.

A torque that lies outside the table is told, not guessed.

Units: SI.
"""

import csv
from dataclasses import dataclass
from pathlib import Path

from coordinator.bolting.errors import BoltingError
from coordinator.bolting.hydraulics import CalibrationTable
from coordinator.sequence import JointFigures
from coordinator.sequence.form.quantities import Dimension, QuantityError, parse_quantity

COLUMNS = ("pressure", "torque")
SIZE_MAX = 1 << 16
"""Bytes; a table of a tool has a dozen rows."""
BY_TABLE = "the calibration table, straight between its rows"
BY_RATIO = "the same over the intensifier's ratio, {:g} (Dunn, worked example 6)"

Row = tuple[str, float, str, str]


class GaugeError(Exception):
    """A calibration table cannot be used; says where, what is, what must be, what to do."""


@dataclass(frozen=True, slots=True)
class Gauge:
    """What a pressure gauge shows for a torque."""

    table: CalibrationTable
    ratio: float
    """Of the intensifier between pump and tool, 1 for none."""


def read_gauge(path: Path, ratio: float) -> Gauge:
    """Return the gauge of a calibration file.

    Raises:
        GaugeError: the file cannot be read, a row has no pressure and torque with their units, the
            rows do not rise (BLT008), or the ratio is below 1.
    """
    if not 1.0 <= ratio <= 100.0:
        raise GaugeError(f"intensifier is {ratio:g}, must be from 1 to 100; give its ratio")
    try:
        with path.open("rb") as file:
            text = file.read(SIZE_MAX).decode("utf-8-sig")
    except OSError as error:
        raise GaugeError(f"{path}: {error.strerror}; name a calibration file") from None
    except UnicodeDecodeError:
        raise GaugeError(f"{path}: is no text, must be CSV in UTF-8; export it anew") from None
    pressures_pa, torques_nm = _columns(path, text)
    try:
        return Gauge(CalibrationTable(pressures_pa, torques_nm), ratio)
    except BoltingError as error:
        raise GaugeError(f"{path}: {error}") from None


def _columns(path: Path, text: str) -> tuple[tuple[float, ...], tuple[float, ...]]:
    rows = [(n, row) for n, row in enumerate(csv.reader(text.splitlines()), 1) if any(row)]
    head = tuple(word.strip() for word in rows[0][1]) if rows else ()
    if head != COLUMNS:
        raise GaugeError(
            f"{path}:1:1: the first line is '{','.join(head)}', must be '{','.join(COLUMNS)}'; "
            "name the columns so"
        )
    found: list[tuple[float, float]] = []
    for line, row in rows[1:]:
        if len(row) != len(COLUMNS):
            raise GaugeError(
                f"{path}:{line}:1: has {len(row)} values, must have a pressure and a torque; "
                "write both, with a comma between"
            )
        try:
            pressure_pa = parse_quantity(row[0].strip(), Dimension.PRESSURE)
            torque_nm = parse_quantity(row[1].strip(), Dimension.TORQUE)
        except QuantityError as error:
            raise GaugeError(f"{path}:{line}:1: {error}") from None
        found.append((pressure_pa, torque_nm))
    return tuple(one for one, _ in found), tuple(one for _, one in found)


def pressures_of(joint: JointFigures, gauge: Gauge) -> tuple[list[Row], list[str]]:
    """Return the pressure to set in each round as figures, and what the table cannot say."""
    rows: list[Row] = []
    beyond: list[str] = []
    for one in joint.rounds:
        try:
            pressure_pa = gauge.table.pressure_pa(one.torque_nm)
        except BoltingError as error:
            beyond.append(f"round {one.number}: {error}")
            continue
        rows.append(
            (f"pressure at the tool, round {one.number}", pressure_pa / 1e6, "MPa", BY_TABLE)
        )
        if gauge.ratio > 1.0:
            pump_mpa = pressure_pa / gauge.ratio / 1e6
            source = BY_RATIO.format(gauge.ratio)
            rows.append((f"pressure at the pump, round {one.number}", pump_mpa, "MPa", source))
    return rows, beyond
