"""Write two values so that a reader sees how they differ.

Units: SI and microseconds in; units as people write them out.
"""

from collections.abc import Callable
from datetime import date
from math import pi

from coordinator.draw.words import plain, time_words
from coordinator.packaged import read_tables

SENTENCES = read_tables("coordinator.compare", "sentences")
"""What is said of each figure that can differ, with the kind of quantity that it is."""
_DIGITS = (4, 6, 9, 17)
"""Figures tried until the two can be told apart."""
_UNITS = {
    "torque": (1.0, " N·m"),
    "angle": (180.0 / pi, "°"),
    "length": (1e3, " mm"),
    "pressure": (1e-6, " MPa"),
    "force": (1e-3, " kN"),
    "share": (1e2, " %"),
    "time": (1.0, " s"),
}
"""Factor from SI, and the unit that people read."""


def quantity(value: object, kind: str, digits: int = 4, beside: object = None) -> str:
    """Write a value of a kind: one of the kinds of parameters, or `time_us`.

    Args:
        value: The value.
        kind: What it measures.
        digits: Figures.
        beside: A value that is written in the same unit.
    """
    if value is None or value == "":
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, tuple):
        return ", ".join(quantity(one, kind, digits) for one in value) or "none"
    if isinstance(value, str):
        return value if kind in ("text", "says") else plain(value)
    if not isinstance(value, int | float):
        return str(value)
    other = beside if isinstance(beside, int | float) else value
    if kind == "time_us":
        return time_words(round(value), round(other), digits=9)
    if kind == "torque" and max(abs(value), abs(other)) >= 1000.0:
        return f"{value / 1000.0:.{digits}g} kN·m"
    return _number(float(value), kind, digits)


def _number(value: float, kind: str, digits: int) -> str:
    factor, unit = _UNITS.get(kind, (1.0, ""))
    if kind == "bolt":
        return f"bolt {value:.0f}"
    return f"{value * factor:.{digits if unit else max(digits, 6)}g}{unit}"


def told_apart(now: object, was: object, kind: str) -> tuple[str, str]:
    """Return both values in words, with as many figures as it takes to tell them apart."""
    return apart(
        lambda value, digits: quantity(value, kind, digits, was if value is now else now), now, was
    )


def sentence(about: str, figure: str, now: object, was: object, *names: str) -> str | None:
    """Return what is said of a figure that differs, or None where there are no words for it."""
    found = SENTENCES[about].get(figure)
    if found is None:
        return None
    kind, text = found
    new, old = told_apart(now, was, kind)
    return str(text).format(*names, now=new, was=old)


def apart(write: Callable[[object, int], str], now: object, was: object) -> tuple[str, str]:
    """Return what `write` makes of both, with the fewest figures that differ."""
    for digits in _DIGITS:
        pair = write(now, digits), write(was, digits)
        if pair[0] != pair[1]:
            break
    return pair
