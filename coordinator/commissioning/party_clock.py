"""Work out from requests and answers how far a party's clock is off, and how sure that is.

The party's clock is compared as classical NTP does on the wire: four time stamps give an offset and
a round trip, and of many exchanges the one with the shortest round trip counts. The true offset is
never further off than half of that round trip, however unlike the two ways are.

Units: ``*_us`` whole microseconds; an offset is positive if the party's clock is ahead.
Invariants: CM22, the true offset of a steady clock lies within the uncertainty of the measured one.
"""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Exchange:
    """One request and its answer, in the order of what happens.

    A party that stamps its answer alone gives the same time for `arrived_us` and `answered_us`: the
    time that it took counts as round trip then, and makes the offset less sure, not wrong.
    """

    asked_us: int
    """Ours: T1."""
    arrived_us: int
    """The party's: T2."""
    answered_us: int
    """The party's: T3."""
    heard_us: int
    """Ours: T4."""


@dataclass(frozen=True, slots=True)
class Offset:
    """How far a party's clock is ahead of ours, give or take."""

    offset_us: int
    uncertainty_us: int

    @property
    def least_us(self) -> int:
        """Return how far the clock is off at least."""
        return max(abs(self.offset_us) - self.uncertainty_us, 0)

    @property
    def most_us(self) -> int:
        """Return how far the clock may be off."""
        return abs(self.offset_us) + self.uncertainty_us


def offset_of(exchange: Exchange) -> Offset:
    """Return the offset that one exchange shows.

    Source:
        Mills, Martin, Burbank, Kasch, Network Time Protocol Version 4: Protocol and Algorithms
        Specification, RFC 5905, 2010, section 8: theta and delta, without its dispersion.
    """
    there_us = exchange.arrived_us - exchange.asked_us
    back_us = exchange.answered_us - exchange.heard_us
    # Half a microsecond that rounding takes from the offset goes to what is not sure.
    return Offset((there_us + back_us) // 2, -((back_us - there_us) // 2))


def best_offset(exchanges: Sequence[Exchange]) -> Offset:
    """Return the offset that the exchange with the shortest round trip shows.

    Args:
        exchanges: At least one, not further apart than the clocks stay together.

    Source:
        RFC 5905, section 10: the clock filter puts the sample with the least delay first.
    """
    return min((offset_of(one) for one in exchanges), key=lambda one: one.uncertainty_us)
