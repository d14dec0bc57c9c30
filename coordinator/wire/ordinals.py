"""Number what a source says about one subject, and notice where numbers are missing.

A whole source cannot be numbered for everybody: nobody hears everything that a coordinator says.
What is said about one subject is heard by one kind of listener, so a number that is missing there
is a message that was lost.

Units: ``*_us`` whole microseconds of the sender's clock.
Invariants: WR6, a copy, a latecomer and a source that has started anew are no gap; WR7, what
carries no ordinal (a will, a party of contract 1.0) is never counted.
Source: OASIS MQTT 5.0, section 4.6: order is kept within one topic and quality of service only, so
that a report may overtake telemetry.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from coordinator.wire.messages import Body, Message, PartyState, SimulatedFacts

SUBJECTS_MAX = 64
"""Chosen: far more than parties of a cell; whoever makes names up fills no memory."""
AWAITED_MAX = 256
"""Chosen: more than two seconds of telemetry; what misses beyond that has not been overtaken."""


class Ordinals:
    """The sender's side: gives 1, 2, 3 ... for each subject."""

    def __init__(self) -> None:
        self._last: dict[str, int] = {}

    def next(self, subject: str, body: Body) -> int | None:
        """Return the ordinal of a body about a subject; None for what is not counted (WR7)."""
        if isinstance(body, SimulatedFacts) or (isinstance(body, PartyState) and not body.online):
            return None  # Not heard by all who listen; a will is written before its time.
        self._last[subject] = self._last.get(subject, 0) + 1
        return self._last[subject]


@dataclass(slots=True)
class _Heard:
    """What is known of one source about one subject."""

    ordinal: int
    sent_us: int
    awaited: dict[int, int] = field(default_factory=dict)
    """When what came instead of each number was sent."""

    def give_up(self, sent_us: int) -> int:
        """Await no longer what was passed by then, nor more than so many; return how many."""
        excess = len(self.awaited) - AWAITED_MAX
        over = [
            ordinal
            for place, (ordinal, passed_us) in enumerate(self.awaited.items())
            if place < excess or passed_us <= sent_us
        ]
        for ordinal in over:
            del self.awaited[ordinal]
        return len(over)


class Gaps:
    """The receiver's side: how many messages are missing, from whom."""

    def __init__(self, patience_us: int = 0) -> None:
        """Miss nothing yet.

        Args:
            patience_us: How much later something must have been sent that has come, before what
                has not come counts as missing; 0 where all of it travels on one topic.
        """
        self._patience_us = patience_us
        self._heard: dict[tuple[str, str], _Heard] = {}
        self._missed: dict[str, int] = {}

    @property
    def missed(self) -> Mapping[str, int]:
        """Messages found missing so far, by source."""
        return self._missed

    def take(self, message: Message) -> int:
        """Take in a message that is no memory of the broker; return how many are found missing."""
        ordinal, sent_us = message.ordinal, message.sent_us
        if ordinal is None:
            return 0
        known = self._heard.get((message.source, message.subject))
        if known is None:
            # Whoever comes late to the bus has missed nothing.
            if len(self._heard) < SUBJECTS_MAX:
                self._heard[message.source, message.subject] = _Heard(ordinal, sent_us)
            return 0
        if ordinal <= known.ordinal and sent_us <= known.sent_us:
            known.awaited.pop(ordinal, None)  # A copy, or one that was overtaken (WR6).
            return 0
        missing = 0
        if ordinal <= known.ordinal:  # It has started anew: nothing of before comes any more.
            missing, known.ordinal = len(known.awaited), 0
            known.awaited.clear()
        passed = range(known.ordinal + 1, ordinal)
        known.ordinal, known.sent_us = ordinal, sent_us
        if len(passed) > AWAITED_MAX:
            missing += len(passed)
        elif passed:
            known.awaited.update(dict.fromkeys(passed, sent_us))
        if known.awaited:
            missing += known.give_up(sent_us - self._patience_us)
        if missing:
            self._missed[message.source] = self._missed.get(message.source, 0) + missing
        return missing
