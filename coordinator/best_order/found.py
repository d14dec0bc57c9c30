"""Tell what an order is put to, and what came out of looking for the shortest.

Units: ``*_us`` whole microseconds.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from coordinator.best_order.freedom import Orders
from coordinator.best_order.measured import Measured
from coordinator.core.plan import Plan


class Shown(StrEnum):
    """How it is known that no order is shorter."""

    EVERY = "every order was rehearsed"
    MEASURED = "reckoned with the shortest time measured of every step"
    NOT = "not shown"


@dataclass(frozen=True, slots=True)
class Trials:
    """What an order is put to."""

    rehearse: Callable[[Plan], Measured | None]
    """None where the run does not end complete."""
    prove: Callable[[Plan], bool]


@dataclass(frozen=True, slots=True)
class Found:
    """An order, with what it takes."""

    plan: Plan
    orders: Orders
    measured: Measured
    """In this order, by its own rehearsal."""
    is_proved: bool
    bound_us: int
    """No order that may be proved is shorter, as far as `shown` says."""
    shown: Shown
    rehearsed: int
    """How many orders, the present one among them."""

    @property
    def is_shortest(self) -> bool:
        """Tell whether none is shorter, as far as `shown` says."""
        return self.shown is not Shown.NOT
