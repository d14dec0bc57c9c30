"""Run parties, coordinator and network in virtual time, from one heap of (time, item).

Units: ``*_us`` whole microseconds since the start; virtual, no clock is read.
Invariants: N2, the same parties, causes and seed give the same deliveries in the same order; N3,
time never goes back and never stands still for ever.
"""

import heapq
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from coordinator.wire.messages import Message, SimulatedFacts
from coordinator.wire.topics import COORDINATOR, channel_of
from sim_arms.causes import Cause, parameter
from sim_arms.network import FOREVER_US, Cut, Network
from sim_arms.party import Party, RevivedParty, SimulatedParty

WILL_US = 1_500_000
"""From a cut to the word of the broker that the party is gone (1.5 keep-alives of 1 s)."""
ERR_AGAIN_US = 1_000_000
"""A broker that errs for longer errs again so often."""
EVENTS_MAX_AT_ONCE = 100_000

Traced = Callable[[int, str, Message], None]
"""Called for each delivery with its time, whom it reaches and the message."""
_TO_COORDINATOR = (COORDINATOR,)
_LINKS_FIRST = 1 << 40
"""A link changes before anything else at that moment, whenever the change was planned."""


class WorldStuckError(Exception):
    """A party asks for attention again and again at the same instant: we are wrong."""


@dataclass(frozen=True, slots=True)
class _Link:
    """The cable or the process of a party changes: the broker notices, or it is back."""

    party: str
    back: bool
    reborn: bool = False


@dataclass(frozen=True, slots=True)
class _Relic:
    """A message that the broker hands out from its memory."""

    message: Message


@dataclass(frozen=True, slots=True)
class _Error:
    """The broker errs about a party, or somebody sets the party's clock."""

    party: str
    cause: str
    off_us: int = 0


_Item = Message | _Link | _Relic | _Error | None


class World:
    """Everything that happens in a cell, in the order in which it happens."""

    def __init__(
        self,
        parties: Sequence[SimulatedParty],
        coordinator: Party,
        network: Network,
        *,
        causes: Sequence[Cause] = (),
        traced: Traced | None = None,
        said: Traced | None = None,
    ) -> None:
        """Put the parties on the network; they connect at time 0.

        Args:
            parties: Arms and floor, each of another name.
            coordinator: Whoever commands them.
            network: How messages travel; knows the cuts.
            causes: Those of the case; here only those of processes, clocks and the broker count.
            traced: Told of every delivery, for a trace.
            said: Told of every message as it is sent, with its time and who sends it.

        Raises:
            ValueError: two parties have one name, or a cause is about a party that is not here.
        """
        self.now_us = 0
        self.coordinator = coordinator
        self.parties = list(parties)
        self.network = network
        self.delivered = 0
        self._traced = traced
        self._said = said
        self._heap: list[tuple[int, int, str, _Item]] = []
        self._ties = 0
        self._link_ties = -_LINKS_FIRST
        self._by_name = {party.name: index for index, party in enumerate(self.parties)}
        if len(self._by_name) != len(self.parties) or COORDINATOR in self._by_name:
            raise ValueError("two parties have one name")
        self._by_subject = {
            subject: party.name for party in self.parties for subject in party.answers_to
        }
        network.house(self._by_subject)
        self._down: set[str] = set()
        names = tuple(self._by_name)
        self._others = {
            source: (*(name for name in names if name != source), COORDINATOR)
            for source in (*names, COORDINATOR)
        }
        self._names = names
        self._memory: dict[str, dict[tuple[str, str], Message]] = {
            name: {} for name in (*names, COORDINATOR)
        }
        """The last message of each topic that has reached a party."""
        self._off_us: dict[str, int] = {}
        """By how much a party's clock is ahead, where it is off."""
        self._wake_us: dict[str, int | None] = {}
        self._plan_cuts(network.cuts)
        self._plan_restarts(causes)
        self._plan_errors(causes)
        for party in self.parties:
            self._route(party.connected(0), party.name)
            self._plan_wake(party.name, party)
        self._plan_wake(COORDINATOR, coordinator)

    def run(self, until: Callable[[], bool], time_us_max: int) -> int:
        """Let time pass until `until` says so, nothing is left to happen, or time is up.

        Args:
            until: Asked after each event.
            time_us_max: Nothing later than this happens.

        Returns:
            The time now.

        Raises:
            WorldStuckError: time does not pass any more.
        """
        at_once = 0
        heap = self._heap
        while heap and not until():
            time_us, _, name, item = heap[0]
            if time_us > time_us_max:
                self.now_us = time_us_max
                break
            heapq.heappop(heap)
            at_once = at_once + 1 if time_us == self.now_us else 0
            if at_once > EVENTS_MAX_AT_ONCE:
                raise WorldStuckError(f"{at_once} events at {time_us} us, the last for '{name}'")
            self.now_us = time_us
            self._happen(name, item)
        return self.now_us

    def reseed(self, seed: int | str) -> None:
        """Draw everything that is yet to come by chance anew; what has come stays."""
        self.network.reseed(seed)
        for party in self.parties:
            party.reseed(f"{seed}:{party.name}")

    def post(self, messages: Sequence[Message], source: str) -> None:
        """Send what a party was made to say from outside, and look at its next time again."""
        self._route(messages, source)
        self._plan_wake(source, self._party(source))

    def add_causes(self, causes: Sequence[Cause]) -> None:
        """Let causes act from now on that were not known before; none may have begun already.

        Raises:
            ValueError: a cause is about a party that is not here.
        """
        self._plan_cuts(self.network.add(causes, self._by_subject))
        self._plan_restarts(causes)
        self._plan_errors(causes)
        for party in self.parties:
            party.add_causes(causes)
            self._plan_wake(party.name, party)

    def _happen(self, name: str, item: _Item) -> None:
        now_us = self.now_us
        if item is None:
            if self._wake_us.get(name) != now_us or name in self._down:
                return  # The party thought better of it.
            self._wake_us[name] = None
            party = self._party(name)
            messages = party.advance(self._clock_us(name))
        elif isinstance(item, Message):
            if name in self._down:
                return
            party = self._party(name)
            self.delivered += 1
            if self._traced is not None:
                self._traced(now_us, name, item)
            self._memory[name][item.subject, channel_of(item.body)] = item
            messages = party.receive(item, self._clock_us(name))
        elif isinstance(item, _Relic):
            if name in self._down:
                return
            # No delivery: whoever looks on is not told of what must decide nothing.
            party = self._party(name)
            messages = party.receive(item.message, self._clock_us(name), retained=True)
        elif isinstance(item, _Link):
            self._change_link(item)
            return
        else:
            self._err(item)
            return
        if messages:
            self._route(messages, name)
        self._plan_wake(name, party)

    def _party(self, name: str) -> Party:
        if name == COORDINATOR:
            return self.coordinator
        return self.parties[self._by_name[name]]

    def _plan_wake(self, name: str, party: Party) -> None:
        next_us, now_us = party.next_us(), self.now_us
        if next_us is not None:
            if self._off_us:
                next_us -= self._off_us.get(name, 0)
            if next_us < now_us:
                next_us = now_us
        if next_us != self._wake_us.get(name):
            self._wake_us[name] = next_us
            if next_us is not None:
                self._push(next_us, name, None)

    def _clock_us(self, name: str) -> int:
        """Return what a party's own clock says."""
        return self.now_us + self._off_us[name] if name in self._off_us else self.now_us

    def _push(self, time_us: int, name: str, item: _Item) -> None:
        self._ties += 1
        heapq.heappush(self._heap, (time_us, self._ties, name, item))

    # -- routing -------------------------------------------------------------------------------

    def _route(self, messages: Sequence[Message], source: str) -> None:
        now_us, carry = self.now_us, self.network.carry
        for message in messages:
            body = message.body
            if self._said is not None:
                self._said(now_us, source, message)
            if isinstance(body, SimulatedFacts):
                self._share(message, source)
                continue
            for target in self._targets(message, source):
                for arrival_us in carry(source, target, now_us):
                    self._push(arrival_us, target, message)

    def _targets(self, message: Message, source: str) -> Sequence[str]:
        channel = channel_of(message.body)
        if channel == "command":
            target = self._by_subject.get(message.subject)
            return () if target is None else (target,)
        if channel == "lease":
            return self._names
        return self._others[source] if channel == "signals" else _TO_COORDINATOR

    def _share(self, message: Message, source: str) -> None:
        """Tell facts at once and to all: steel does not travel over the bus."""
        for party in self.parties:
            if party.name == source or party.name in self._down:
                continue
            self.delivered += 1
            if self._traced is not None:
                self._traced(self.now_us, party.name, message)
            if answers := party.receive(message, self._clock_us(party.name)):
                self._route(answers, party.name)
            self._plan_wake(party.name, party)

    # -- cables and processes ------------------------------------------------------------------

    def _plan_cuts(self, cuts: Sequence[Cut]) -> None:
        for cut in cuts:
            if cut.until_us - cut.from_us > WILL_US:
                self._push_link(cut.from_us + WILL_US, _Link(cut.party, back=False))
            if cut.until_us < FOREVER_US:
                self._push_link(cut.until_us, _Link(cut.party, back=True))

    def _plan_restarts(self, causes: Sequence[Cause]) -> None:
        for cause in causes:
            if cause.cause != "party_restarts":
                continue
            name = self._placed(cause)
            at_us = cause.at_us or 0
            back_us = at_us + round(parameter(cause, "down") * 1e6)
            self._push_link(at_us, _Link(name, back=False, reborn=True))
            self._push_link(back_us, _Link(name, back=True, reborn=True))

    def _plan_errors(self, causes: Sequence[Cause]) -> None:
        for cause in causes:
            at_us = cause.at_us or 0
            if cause.cause in ("false_will", "stale_retained"):
                until_us = at_us + max(1, cause.for_us or 0)
                for again_us in range(at_us, until_us, ERR_AGAIN_US):
                    self._push_link(again_us, _Error(self._placed(cause), cause.cause))
            elif cause.cause == "clock_step":
                name, off_us = self._placed(cause), round(parameter(cause, "step") * 1e6)
                self._push_link(at_us, _Error(name, cause.cause, off_us))
                if cause.for_us is not None:
                    self._push_link(at_us + cause.for_us, _Error(name, cause.cause, -off_us))

    def _placed(self, cause: Cause) -> str:
        side = cause.side or ""
        name = self._by_subject.get(side, side)
        if name not in self._by_name and name != COORDINATOR:
            raise ValueError(f"cause '{cause.cause}': no party '{side}' here")
        return name

    def _err(self, error: _Error) -> None:
        """Let the broker say what is not so, hand out what is old, or set a clock."""
        name, party = error.party, self._party(error.party)
        if error.cause == "clock_step":
            self._off_us[name] = self._off_us.get(name, 0) + error.off_us
            if name not in self._down:
                self._plan_wake(name, party)
        elif error.cause == "stale_retained":
            for message in tuple(self._memory[name].values()):
                for arrival_us in self.network.carry("broker", name, self.now_us):
                    self._push(arrival_us, name, _Relic(message))
        elif name != COORDINATOR and name not in self._down:
            will = self.parties[self._by_name[name]].will()
            for arrival_us in self.network.carry("broker", COORDINATOR, self.now_us):
                self._push(arrival_us, COORDINATOR, will)
        else:
            return  # It has no will, or it is dead in truth.
        self.network.note(error.cause)

    def _push_link(self, time_us: int, link: _Link | _Error) -> None:
        self._link_ties += 1
        heapq.heappush(self._heap, (time_us, self._link_ties, link.party, link))

    def _change_link(self, link: _Link) -> None:
        if link.party == COORDINATOR:
            if link.reborn:
                self._revive_coordinator(link)
            return  # Of its own cable: its parties notice by the lease.
        index = self._by_name.get(link.party)
        if index is None:
            return
        party = self.parties[index]
        if not link.back:
            if link.reborn:
                self._down.add(link.party)
                self._wake_us[link.party] = None
            # The broker says it, so the cut of the party itself does not matter.
            for arrival_us in self.network.carry("broker", COORDINATOR, self.now_us):
                self._push(arrival_us, COORDINATOR, party.will())
            return
        if link.reborn:
            self._down.discard(link.party)
            party = self.parties[index] = party.reborn(self._clock_us(link.party))
        self._route(party.connected(self._clock_us(link.party)), link.party)
        self._plan_wake(link.party, party)

    def _revive_coordinator(self, link: _Link) -> None:
        """Let the coordinator's process die, or start anew where its journal ends."""
        if not link.back:
            self._down.add(COORDINATOR)
            self._wake_us[COORDINATOR] = None
            return
        self._down.discard(COORDINATOR)
        if not isinstance(self.coordinator, RevivedParty):
            raise TypeError("this coordinator keeps no journal to start anew from")
        self._route(self.coordinator.revive(self._clock_us(COORDINATOR)), COORDINATOR)
        self._plan_wake(COORDINATOR, self.coordinator)
