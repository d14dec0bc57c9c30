"""Notice on the coordinator's side of the bus that messages are missing, and tell the core.

Units: ``*_us`` whole microseconds since the run began.
Invariants: WR8, missing messages are told once, and no more often than their party gives a sign of
life.
"""

from coordinator.core.events import MessagesMissed
from coordinator.core.plan import Plan
from coordinator.wire.messages import Message, PartyState
from coordinator.wire.ordinals import Gaps
from coordinator.wire.topics import FLOOR

TELL_US = 1_000_000
"""Chosen: the period of a heartbeat, with which anything that waits is told at the latest."""
PATIENCE_US = 1_000_000
"""Chosen: longer than telemetry is overtaken by, on a bus whose lease of a second still comes."""
_Way = tuple[str, bool]
"""Whose messages, and whether it was the party that missed ours."""


class GapWatch:
    """Counts what is missing; one for each coordinator."""

    def __init__(self, plan: Plan) -> None:
        self._places = {FLOOR: -1} | {one.name: i for i, one in enumerate(plan.parties)}
        self._gaps = Gaps(PATIENCE_US)
        self._told_by: dict[str, tuple[int, int]] = {}
        """Boot of a party, and how many it had missed when it said so last."""
        self._untold: dict[_Way, int] = {}
        self._told_us: dict[_Way, int] = {}
        self.counts: dict[_Way, tuple[int, int]] = {}
        """How many are missing in all, and when the last of them was noticed."""

    def take(self, message: Message, at_us: int) -> tuple[MessagesMissed, ...]:
        """Take in a message that is no memory of the broker; return what is to be told now."""
        if message.source not in self._places or message.source != message.subject:
            return ()
        ours, theirs = self._gaps.take(message), self._new_misses(message)
        if not (ours or theirs or self._untold):
            return ()  # As nearly always.
        own = self._tell((message.source, False), ours, at_us)
        return own + self._tell((message.source, True), theirs, at_us)

    def _new_misses(self, message: Message) -> int:
        body = message.body
        if not isinstance(body, PartyState) or not body.online:
            return 0
        boot, before = self._told_by.get(message.source, (body.boot, body.missed))
        self._told_by[message.source] = body.boot, body.missed
        return max(0, body.missed - (before if boot == body.boot else 0))

    def _tell(self, way: _Way, missing: int, at_us: int) -> tuple[MessagesMissed, ...]:
        if missing:
            total, _ = self.counts.get(way, (0, 0))
            self.counts[way] = total + missing, at_us
        untold = self._untold.pop(way, 0) + missing
        told_us = self._told_us.get(way)
        if not untold:
            return ()
        if told_us is not None and at_us < told_us + TELL_US:
            self._untold[way] = untold
            return ()
        self._told_us[way] = at_us
        source, by_party = way
        return (MessagesMissed(at_us, self._places[source], untold, by_party),)
