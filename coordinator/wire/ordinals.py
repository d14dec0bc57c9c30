"""Number what a source says about one subject, and notice where numbers are missing.

A whole source cannot be numbered for everybody: nobody hears everything that a coordinator says.
What is said about one subject is heard by one kind of listener, so a number that is missing there
is a message that was lost.

Keeps: G1, a copy, a latecomer and a source that has started anew are no gap; G2, what carries no
ordinal (a will, a party of contract 1.0) is never counted.
"""

from collections.abc import Mapping

from coordinator.wire.messages import Body, Message, PartyState, SimulatedFacts

SUBJECTS_MAX = 64
"""Chosen: far more than parties of a cell; whoever makes names up fills no memory."""


class Ordinals:
    """The sender's side: gives 1, 2, 3 ... for each subject."""

    def __init__(self) -> None:
        self._last: dict[str, int] = {}

    def next(self, subject: str, body: Body) -> int | None:
        """Return the ordinal of a body about a subject; None for what is not counted (G2)."""
        if isinstance(body, SimulatedFacts) or (isinstance(body, PartyState) and not body.online):
            return None  # Not heard by all who listen; a will is written before its time.
        self._last[subject] = self._last.get(subject, 0) + 1
        return self._last[subject]


class Gaps:
    """The receiver's side: how many messages are missing, from whom."""

    def __init__(self) -> None:
        self._last: dict[tuple[str, str], tuple[int, int]] = {}
        self._missed: dict[str, int] = {}

    @property
    def missed(self) -> Mapping[str, int]:
        """Messages found missing so far, by source."""
        return self._missed

    def take(self, message: Message) -> int:
        """Take in a message that is no memory of the broker; return how many miss before it."""
        if message.ordinal is None:
            return 0
        key = message.source, message.subject
        known = self._last.get(key)
        if known is None and len(self._last) >= SUBJECTS_MAX:
            return 0
        here = message.ordinal, message.sent_us
        if known is None:
            self._last[key] = here  # Whoever comes late to the bus has missed nothing.
            return 0
        last, sent_us = known
        if message.ordinal <= last and message.sent_us <= sent_us:
            return 0  # A copy, or one that was overtaken: told as missing already (G1).
        self._last[key] = here
        begins_anew = message.ordinal <= last
        missing = message.ordinal - 1 if begins_anew else message.ordinal - last - 1
        if missing > 0:
            self._missed[message.source] = self._missed.get(message.source, 0) + missing
        return missing
