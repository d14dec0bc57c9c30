"""Spoil a coordinator on purpose, so that a campaign whose judges are asleep is found out.

Units: ``*_us`` whole microseconds.
"""

from dataclasses import replace

from coordinator.live.reviving import RevivingCoordinator
from coordinator.wire.messages import Do, FloorSignals, Message, Release

BEYOND = 1_000_000
"""Command numbers that no run comes to."""
EXPIRY_US = 2_000_000


class SpoiledCoordinator:
    """A coordinator with a defect that its core knows nothing of."""

    def __init__(self, inner: RevivingCoordinator, canary: str, party: str) -> None:
        """Spoil `inner`.

        Args:
            inner: The coordinator as it should be.
            canary: The defect: `moves_unclear` or `releases_one`.
            party: Whom it hits.
        """
        self.inner = inner
        self.canary = canary
        self._party = party
        self._sent = 0

    @property
    def name(self) -> str:
        """The name that stands as `source` on its messages."""
        return self.inner.name

    def receive(self, message: Message, now_us: int, retained: bool = False) -> list[Message]:
        """Take one message in; what comes out is spoiled."""
        said = self._spoil(self.inner.receive(message, now_us, retained))
        body = message.body
        unclear = isinstance(body, FloorSignals) and False in body.signals.values()
        if self.canary == "moves_unclear" and unclear:
            self._sent += 1
            park = Do(BEYOND + self._sent, "park", "park")
            # Stamped as its own are: nobody could tell by the envelope.
            said.append(
                Message(
                    self.name,
                    self._party,
                    BEYOND + self._sent,
                    self.inner.coordinator.epoch,
                    now_us,
                    park,
                    now_us + EXPIRY_US,
                )
            )
        return said

    def advance(self, now_us: int) -> list[Message]:
        """Let time pass; what comes out is spoiled."""
        return self._spoil(self.inner.advance(now_us))

    def next_us(self) -> int | None:
        """Return when `advance` must be called next."""
        return self.inner.next_us()

    def revive(self, now_us: int) -> list[Message]:
        """Start anew after the process died."""
        return self._spoil(self.inner.revive(now_us))

    def _spoil(self, messages: list[Message]) -> list[Message]:
        if self.canary != "releases_one":
            return list(messages)
        return [
            replace(message, subject="nobody")
            if isinstance(message.body, Release) and message.subject == self._party
            else message
            for message in messages
        ]
