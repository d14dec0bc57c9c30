"""Name what a caller of the bolting package can get wrong, one code for each kind.

Invariants: BT4, a message about misuse reads: what is, what must be, what to do, and its code.
"""

from collections.abc import Mapping
from math import isfinite

from coordinator.bolting.tables import TABLES

BOLTING_ERROR_CODES: Mapping[str, str] = TABLES["error_codes"]
"""Every code of this package with its meaning."""


class BoltingError(ValueError):
    """A request to the bolting package that has no right answer.

    Attributes:
        code: One of ``BOLTING_ERROR_CODES``.
    """

    def __init__(self, message: str, code: str) -> None:
        """Join `message` (what is, what must be; what to do) and `code`."""
        super().__init__(f"{message} [{code}]")
        self.code = code


def require_above_zero(name: str, value: float) -> None:
    """Refuse `value` unless it is finite and above zero (BLT005)."""
    if not (isfinite(value) and value > 0.0):
        raise BoltingError(
            f"{name} is {value:g}, must be finite and above zero; correct the value", "BLT005"
        )


def require_friction(name: str, value: float) -> None:
    """Refuse a coefficient of friction outside 0 to 1 (BLT006)."""
    if not 0.0 <= value <= 1.0:
        raise BoltingError(
            f"{name} is {value:g}, must be from 0 to 1; correct the coefficient", "BLT006"
        )


def require_fraction(name: str, value: float, *, below: float = 1.0) -> None:
    """Refuse a fraction outside 0 (included) to `below` (excluded) (BLT012)."""
    if not 0.0 <= value < below:
        raise BoltingError(
            f"{name} is {value:g}, must be from 0 to below {below:g}; correct the fraction",
            "BLT012",
        )
