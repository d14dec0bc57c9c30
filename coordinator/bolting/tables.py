"""Hold the published tables, which are data: `tables.toml` beside this file.

Units: as printed, millimetres or inches; the source of each table stands above its rows.
"""

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from coordinator.packaged import read_tables

TABLES: Mapping[str, Any] = read_tables("coordinator.bolting", "tables")


def metric_rows(table: str) -> dict[float, float]:
    """Return a table that gives one number for each metric size."""
    return {float(size): float(value) for size, value in TABLES[table]["rows"]}


def inch_rows(table: str) -> dict[Fraction, float]:
    """Return a table that gives one number for each size in inches."""
    return {Fraction(size): float(Fraction(value)) for size, value in TABLES[table]["rows"]}
