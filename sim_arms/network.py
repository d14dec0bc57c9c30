"""A bus in virtual time: when a message arrives, whether it does, and how often.

A link runs in order, as MQTT does for one sender and one topic: a late message makes those behind
it late. Only the cause `reorder` lets a message overtake its elders.

Units: ``*_us`` whole microseconds since the start.
Invariants: N1, the same seed and the same calls give the same arrivals.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from random import Random

from sim_arms.causes import Cause, parameter

LATENCY_US = (1_000, 4_000)
"""Least and most for one hop over the broker (from memory: a broker in the same cabinet)."""
OVERTAKE_US = (5_000, 50_000)
"""How long a message that is overtaken lies aside (chosen: above the latency, below a lease)."""
FOREVER_US = 1 << 62


@dataclass(frozen=True, slots=True)
class Cut:
    """A party without its cable, from `from_us` until just before `until_us`."""

    party: str
    from_us: int
    until_us: int = FOREVER_US


@dataclass(frozen=True, slots=True)
class _Trouble:
    """A share of messages in a stretch of time that something happens to."""

    share: float
    party: str | None
    from_us: int
    until_us: int
    time_us: int = 0

    def strikes(self, random: Random, link: tuple[str, str], now_us: int) -> bool:
        if not self.from_us <= now_us < self.until_us:
            return False
        if self.party is not None and self.party not in link:
            return False
        return random.random() < self.share


_KINDS = ("loss", "duplicate", "delay", "reorder")


class Network:
    """The links between all parties, with the troubles of one case."""

    def __init__(
        self,
        seed: int | str,
        causes: Sequence[Cause] = (),
        cuts: Sequence[Cut] = (),
        latency_us: tuple[int, int] = LATENCY_US,
    ) -> None:
        """Set up all links.

        Args:
            seed: Of this network alone.
            causes: The causes of the case; those that are not of the bus are passed over.
            cuts: More cuts, besides those among the causes.
            latency_us: Least and most for one hop.
        """
        self.cuts = (*cuts, *(_to_cut(cause) for cause in causes if cause.cause == "party_cut"))
        self._random = Random(f"{seed}:network")
        self._least_us, most_us = latency_us
        self._width = most_us - self._least_us + 1
        self._bits = self._width.bit_length()
        self._troubles = {kind: _troubles(causes, kind) for kind in _KINDS}
        self._last_us: dict[tuple[str, str], int] = {}
        self.acted: dict[str, int] = {}
        """How many messages each kind of trouble has struck."""

    def add(self, causes: Sequence[Cause], homes: Mapping[str, str]) -> tuple[Cut, ...]:
        """Take more causes of the case, and return the cuts among them, each at its party."""
        cuts = [_to_cut(cause) for cause in causes if cause.cause == "party_cut"]
        housed = tuple(replace(cut, party=homes.get(cut.party, cut.party)) for cut in cuts)
        self.cuts += housed
        for kind in _KINDS:
            self._troubles[kind] += _housed(_troubles(causes, kind), homes)
        return housed

    def reseed(self, seed: int | str) -> None:
        """Draw what is yet to come by chance anew."""
        self._random.seed(f"{seed}:network")

    def house(self, homes: Mapping[str, str]) -> None:
        """Let what is said of a lane hold for the party that plays it, as the floor the hoist."""
        self.cuts = tuple(replace(cut, party=homes.get(cut.party, cut.party)) for cut in self.cuts)
        self._troubles = {kind: _housed(them, homes) for kind, them in self._troubles.items()}

    def is_cut(self, party: str, now_us: int) -> bool:
        """Tell whether a party is without its cable."""
        return any(c.party == party and c.from_us <= now_us < c.until_us for c in self.cuts)

    def carry(self, source: str, target: str, now_us: int) -> tuple[int, ...]:
        """Take a message at `now_us` and return when it arrives.

        Returns:
            Arrival times: none where it is lost, two where it is doubled.
        """
        link = (source, target)
        if self.cuts and (self.is_cut(source, now_us) or self.is_cut(target, now_us)):
            self.note("party_cut")
            return ()
        if self._strikes("loss", link, now_us):
            return ()
        arrival_us = self._arrival_us(link, now_us)
        if self.cuts and self.is_cut(target, arrival_us):
            return ()
        if self._strikes("duplicate", link, now_us):
            return arrival_us, self._arrival_us(link, now_us)
        return (arrival_us,)

    def _arrival_us(self, link: tuple[str, str], now_us: int) -> int:
        # As `randint` draws, without its four calls: this is done for every message.
        hop_us = self._random.getrandbits(self._bits)
        while hop_us >= self._width:
            hop_us = self._random.getrandbits(self._bits)
        arrival_us = now_us + self._least_us + hop_us
        for trouble in self._troubles["delay"]:
            if trouble.strikes(self._random, link, now_us):
                self.note("delay")
                arrival_us += self._random.randint(0, trouble.time_us)
        if self._strikes("reorder", link, now_us):
            return arrival_us + self._random.randint(*OVERTAKE_US)
        last_us = self._last_us.get(link, 0)
        if last_us > arrival_us:
            return last_us
        self._last_us[link] = arrival_us
        return arrival_us

    def note(self, name: str) -> None:
        """Count that a trouble of the bus has struck."""
        self.acted[name] = self.acted.get(name, 0) + 1

    def _strikes(self, kind: str, link: tuple[str, str], now_us: int) -> bool:
        """Tell whether a trouble of a kind strikes a message now, and count it."""
        troubles = self._troubles[kind]
        if not troubles or not any(one.strikes(self._random, link, now_us) for one in troubles):
            return False
        self.note(kind)
        return True


def _span(cause: Cause) -> tuple[int, int]:
    from_us = cause.at_us or 0
    return from_us, FOREVER_US if cause.for_us is None else from_us + cause.for_us


def _to_cut(cause: Cause) -> Cut:
    if cause.side is None:
        raise ValueError("cause 'party_cut' names no party; give it a side")
    return Cut(cause.side, *_span(cause))


def _troubles(causes: Sequence[Cause], name: str) -> tuple[_Trouble, ...]:
    return tuple(
        _Trouble(
            parameter(cause, "share"),
            cause.side,
            *_span(cause),
            time_us=round(parameter(cause, "time") * 1e6) if name == "delay" else 0,
        )
        for cause in causes
        if cause.cause == name
    )


def _housed(troubles: tuple[_Trouble, ...], homes: Mapping[str, str]) -> tuple[_Trouble, ...]:
    return tuple(
        trouble
        if trouble.party is None
        else replace(trouble, party=homes.get(trouble.party, trouble.party))
        for trouble in troubles
    )
