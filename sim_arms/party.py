"""What a party is to whoever drives it: messages and time in, messages and a next time out.

Clock, socket and disk are its driver's.

Units: ``*_us`` whole microseconds of the cell's clock.
"""

from collections.abc import Sequence
from typing import Protocol, Self, runtime_checkable

from coordinator.wire.messages import Message
from sim_arms.causes import Cause


class Party(Protocol):
    """Anybody on the bus: the coordinator, an arm, the floor."""

    @property
    def name(self) -> str:
        """The name that stands as `source` on its messages."""

    def receive(self, message: Message, now_us: int, retained: bool = False) -> list[Message]:
        """Take one message in and return what is to be sent, in order."""

    def advance(self, now_us: int) -> list[Message]:
        """Do everything that is due by `now_us` and return what is to be sent, in order."""

    def next_us(self) -> int | None:
        """Return when `advance` must be called next, None for not at all."""


class SimulatedParty(Party, Protocol):
    """A party that this package plays: it can also lose its link and be started anew."""

    @property
    def answers_to(self) -> tuple[str, ...]:
        """The subjects whose commands it obeys."""

    def connected(self, now_us: int) -> list[Message]:
        """Say what must be said whenever the link comes up."""

    def will(self) -> Message:
        """Return what the broker says for this party when its link breaks."""

    def farewell(self, now_us: int) -> Message:
        """Return what the party says itself before it leaves on purpose."""

    def reseed(self, seed: int | str) -> None:
        """Draw what is yet to come by chance anew; what has come stays."""

    def reborn(self, now_us: int) -> Self:
        """Return this party after its process died and started anew; only its ledger survives."""

    def add_causes(self, causes: Sequence[Cause]) -> None:
        """Let causes act that were not known before; none may have begun already."""


@runtime_checkable
class RevivedParty(Protocol):
    """A coordinator whose process may die in virtual time, and go on from what it kept."""

    def revive(self, now_us: int) -> list[Message]:
        """Start anew after the process died, and return what is to be sent, in order."""
