"""Decide what a reading says about a signal: yes, no, or neither."""

import math

from coordinator.sequence.models.gateway_model import GatewaySignalModel

Word = bool | int | float
"""What stands at one place of a controller."""


def truth(signal: GatewaySignalModel, value: Word | None) -> bool | None:
    """Return what a reading says about a signal; None where it says neither.

    Args:
        signal: How it is to be read.
        value: A bit or a number of the controller.
    """
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return None
    if signal.at_least is not None or signal.at_most is not None:
        if isinstance(value, bool):
            return None
        above = signal.at_least is None or value >= signal.at_least
        return above and (signal.at_most is None or value <= signal.at_most)
    bit = _bit(signal.bit, value)
    return None if bit is None else bit is not signal.inverted


def _bit(place: int | None, value: Word) -> bool | None:
    if isinstance(value, bool):
        return value if place is None else None
    if isinstance(value, float):
        return None
    if place is not None:
        return bool(value >> place & 1)
    return bool(value) if value in (0, 1) else None
