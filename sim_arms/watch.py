"""What a party watches by itself: a fresh lease, and the floor signals it was told to watch.

The coordinator watches the same; a party does not trust it to be right.

Units: ``*_us`` whole microseconds of the cell's clock.
Invariants: L1, nothing begins without a fresh lease; L2, whoever has no lease comes to rest; L4, an
arm begins nothing while a trip that it has heard of is not good; L5, an arm takes a signal that is
unknown, bad or too old as not good.
"""

import math
from typing import Literal

from coordinator.wire.messages import FloorSignals, Lease, Message

SPEED_SHARE_MIN = 0.01
"""Chosen: whatever is asked for, an arm that may move gets there."""
LEASE_US_MAX = 30_000_000
"""A lease counts for at most this long from its arrival (chosen: far above any lease in use)."""


class Watch:
    """Lease and signals as last heard, and when they will be too old."""

    def __init__(self, watched: tuple[str, ...], signal_us_max: int) -> None:
        self._watched = watched
        self._signal_us_max = signal_us_max
        self._lease_epoch = 0
        self._lease_until_us = 0
        self.torque_nm_max = math.inf
        """Cap of the last lease taken up."""
        self.speed_share_max = 1.0
        self._signals_sent_us = 0
        self._bad: str | None = f"{watched[0]} never heard of" if watched else None

    def take_lease(self, message: Message, lease: Lease, now_us: int) -> None:
        """Take a lease up; one of a newer epoch replaces, one of the same epoch only prolongs."""
        if message.epoch >= self._lease_epoch:
            self.torque_nm_max = math.inf if lease.torque_nm_max is None else lease.torque_nm_max
            self.speed_share_max = min(1.0, max(SPEED_SHARE_MIN, lease.speed_share_max))
        until_us = min(lease.until_us, now_us + LEASE_US_MAX)
        if message.epoch > self._lease_epoch:
            self._lease_epoch, self._lease_until_us = message.epoch, until_us
        elif message.epoch == self._lease_epoch:
            self._lease_until_us = max(self._lease_until_us, until_us)

    def take_signals(self, message: Message, body: FloorSignals, now_us: int) -> None:
        """Take signals up, unless newer ones came before them."""
        if not self._watched or message.sent_us < self._signals_sent_us:
            return
        self._signals_sent_us = min(message.sent_us, now_us)
        self._bad = next(
            (
                f"{name} is {'unknown' if body.signals.get(name) is None else 'not good'}"
                for name in self._watched
                if body.signals.get(name) is not True
            ),
            None,
        )

    def lacking(
        self, now_us: int, *, signals: bool = True
    ) -> tuple[Literal["no_lease", "interlock"], str] | None:
        """Return why nothing may move now, None if it may.

        Args:
            now_us: The time to judge at.
            signals: False for what moves nothing: only the lease counts then.
        """
        if now_us >= self._lease_until_us:
            return "no_lease", "no fresh lease"
        if not signals or not self._watched:
            return None
        if self._bad is not None:
            return "interlock", self._bad
        if now_us > self._signals_sent_us + self._signal_us_max:
            return "interlock", f"{self._watched[0]} is too old"
        return None

    def lapse_us(self, *, signals: bool = True) -> int:
        """Return when `lacking` will turn bad if nothing more is heard; past if it is bad now."""
        if not signals or not self._watched:
            return self._lease_until_us
        if self._bad is not None:
            return 0
        return min(self._lease_until_us, self._signals_sent_us + self._signal_us_max + 1)
