"""Be the coordinator among the parties, without I/O: messages in, messages out, one core inside.

Every batch goes the same way: journal the events, decide, make the journal durable if anything
is to be done, write records, tell the listeners, and only then hand the messages out.

Units: ``now_us`` is the cell's clock; the core counts from ``origin_us``.
Invariants: J1, an event is durable before its effects leave; A7, nobody commands beside another
coordinator of a later epoch; WR9, nothing is decided on what the broker has kept; H5, a coordinator
that starts anew has everybody hold at once; T4, a record says what the tool reported; LV13, a party
that says of itself that it is simulated where a real one stands, or the reverse, is sent no
command, however it came to the bus.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from coordinator.core.decide import begin, decide, next_deadline_us
from coordinator.core.effects import Effect, WriteRecord
from coordinator.core.events import (
    Act,
    Event,
    OperatorActed,
    PartyLost,
    PersonEvent,
    Resumed,
    SignalSeen,
    TimePassed,
)
from coordinator.core.plan import Plan
from coordinator.core.prompts import options_of
from coordinator.core.state import OpenPrompt, State
from coordinator.core.turn import Turn
from coordinator.live.gap_watch import GapWatch
from coordinator.live.standing import Standing, Standings
from coordinator.live.translate import (
    Envelope,
    Outgoing,
    party_of,
    to_events,
    to_message,
    to_outgoing,
)
from coordinator.wire.messages import (
    Ask,
    Faulted,
    Finished,
    FloorSignals,
    Hold,
    Interrupted,
    Message,
    PartyState,
    Refused,
    Trace,
)
from coordinator.wire.ordinals import Ordinals
from coordinator.wire.topics import COORDINATOR, FLOOR, impersonation

_TRACED = (Finished, Faulted, Interrupted)
_OVER = (*_TRACED, Refused)
"""What ends a command. Tuples, since a union is made anew each time it is asked about."""
TRACES_MAX = 64
"""Chosen: a record follows its report at once, so a few for each party would do."""
REASONS_MAX = 100
"""Chosen: enough to see what is wrong, few enough that a babbling party fills no memory."""


class OutdatedCoordinator(Exception):  # noqa: N818 (it says what happened)
    """Another coordinator of a later epoch is at work on this cell; ours must not command."""


class StuckDeadline(Exception):  # noqa: N818 (it says what happened)
    """The core names a deadline that passing time does not settle: we are wrong."""


class EventLog(Protocol):
    """Where events become durable."""

    def append(self, event: Event) -> None:
        """Take an event in; it need not be durable yet."""

    def commit(self, state: State) -> None:
        """Make everything appended durable, which has led to `state`, or raise."""


@dataclass(frozen=True, slots=True)
class Proof:
    """What a step proved, joined with what the tool felt."""

    effect: WriteRecord
    at_us: int
    trace: Trace | None
    tool: str
    simulated: bool


@dataclass(frozen=True, slots=True)
class Progress:
    """Where an earlier coordinator left a run, by its journal."""

    state: State
    at_us: int = 0
    """Of its last event."""
    owed: tuple[tuple[WriteRecord, int], ...] = ()
    """Proofs, and when they were decided, that the record store may have missed."""


RecordWriter = Callable[[Proof], None]
Listener = Callable[[Event, tuple[Effect, ...], State], None]


@dataclass(frozen=True, slots=True)
class Observers:
    """Who is told, in this order; each may be missing."""

    journal: EventLog | None = None
    records: RecordWriter | None = None
    listeners: tuple[Listener, ...] = ()


class Coordinator:
    """The party called `coordinator`.

    Args:
        plan: What to coordinate.
        epoch: Larger than that of every coordinator before it on this cell.
        origin_us: When the run began, cell's clock.
        observers: Journal, records and listeners.
        state: The beginning, unless it is given.
        progress: Where a resumed run goes on from; then `resume` comes before anything else.
        stands: How each party stands; who says otherwise of itself is commanded nothing (LV13).
            Without it nobody's word about that is judged.
    """

    name = COORDINATOR

    def __init__(
        self,
        plan: Plan,
        *,
        epoch: int = 1,
        origin_us: int = 0,
        observers: Observers | None = None,
        state: State | None = None,
        progress: Progress | None = None,
        stands: Standings | None = None,
    ) -> None:
        self.plan = plan
        self.epoch = epoch
        self.origin_us = origin_us
        self.state = begin(plan) if state is None else state
        self.owed: dict[tuple[str, int], tuple[WriteRecord, int]] = {}
        """Proofs of the coordinator before us that are written once the party tells their trace."""
        self.seen: dict[str, PartyState] = {}
        """Last state of every party, also a retained one: for showing, never for deciding."""
        self.dropped: dict[str, int] = {}
        """Why messages were not taken, and how often."""
        self._observers = observers or Observers()
        self._sequence = 0
        self._now_us = origin_us
        self._ordinals = Ordinals()
        self._stands = stands
        self._ruled_out: set[str] = set()
        """Who says of itself that it is another kind of party than stands here."""
        self._known = {COORDINATOR, FLOOR, *(party.name for party in plan.parties)}
        self.gaps = GapWatch(plan)
        self._traces: dict[tuple[str, int], Trace] = {}
        self.is_resumed = progress is not None
        self._asked: State | None = None
        self._deadline_us: int | None = None
        if progress is not None:
            self.state = progress.state
            self._now_us = origin_us + progress.at_us
            for effect, at_us in progress.owed:
                self.owed[plan.parties[effect.party].name, effect.command] = effect, at_us

    def observe(self, observers: Observers) -> None:
        """Tell others than before from now on."""
        self._observers = observers

    def resume(self, now_us: int) -> list[Message]:
        """Go on where another coordinator ended: hold everything, ask everybody what was done."""
        messages = self._settle([Resumed(self._core_us(now_us))], now_us)
        expires_us = self._cell_us(now_us) + self.plan.timing.expiry_us
        asks = [Outgoing(party, Ask(command), expires_us) for party, command in self.owed]
        # Before the holds: a hold would make no difference to what is asked about here.
        return [self._stamp(ask, now_us) for ask in asks] + messages

    def settle_owed(self) -> None:
        """Write the proofs whose traces nobody can tell any more, without them."""
        for party, command in list(self.owed):
            self._write_owed(party, command)

    def receive(self, message: Message, now_us: int, retained: bool = False) -> list[Message]:
        """Take in one message.

        Raises:
            OutdatedCoordinator: LNK008, the message obeys a later epoch than ours.
        """
        return self.receive_all([(message, retained)], now_us)

    def receive_all(self, batch: Sequence[tuple[Message, bool]], now_us: int) -> list[Message]:
        """Take in several (message, retained) with one durable commit for all."""
        events: list[Event] = []
        for message, retained in batch:
            events += self._events_of(message, retained, now_us)
        return self._settle(events, now_us)

    def advance(self, now_us: int) -> list[Message]:
        """Let time pass, if the core waits for it.

        Raises:
            StuckDeadline: the core still waits for a moment that has passed, and nothing changed.
        """
        due_us = self.next_us()
        if due_us is None or due_us > now_us:
            return []
        before = self.state
        messages = self._settle([TimePassed(self._core_us(now_us))], now_us)
        after_us = self.next_us()
        if self.state == before and after_us is not None and after_us <= now_us:
            raise StuckDeadline(f"the core waits for {after_us} us, which is {now_us} us or before")
        return messages

    def next_us(self) -> int | None:
        """Return when `advance` is due, cell's clock."""
        if self.state is not self._asked:
            # Asked several times after each event; a state never changes, it is replaced.
            self._asked, self._deadline_us = self.state, next_deadline_us(self.plan, self.state)
        deadline_us = self._deadline_us
        return None if deadline_us is None else deadline_us + self.origin_us

    def act(self, act: Act, who: str, now_us: int) -> list[Message]:
        """Pass on what an operator does to the procedure."""
        return self.hear(OperatorActed(0, act, who), now_us)

    def hear(self, event: PersonEvent, now_us: int) -> list[Message]:
        """Pass on a person's word; its time becomes that at which it is decided."""
        return self._settle([replace(event, at_us=self._core_us(now_us))], now_us)

    def options_of(self, opened: OpenPrompt) -> tuple[str, ...]:
        """Return what a person may answer to an open prompt now."""
        return options_of(Turn(self.plan, self.state, self._now_us - self.origin_us), opened)

    def lose_link(self, now_us: int) -> list[Message]:
        """Take the bus itself as broken: every party lost, every signal unknown."""
        at_us = self._core_us(now_us)
        events: list[Event] = [PartyLost(at_us, index) for index in range(len(self.plan.parties))]
        events += [SignalSeen(at_us, index, None) for index in range(len(self.plan.signals))]
        return self._settle(events, now_us)

    def hold_messages(self, reason: str, now_us: int) -> list[Message]:
        """Return a hold for every party without asking the core, for when we ourselves fail."""
        expires_us = now_us + self.plan.timing.expiry_us
        # Without a number, which counts at any time: one of the series that no journal knows would
        # make the holds of whoever resumes outdated to the arms.
        hold = Hold(reason)
        return [
            self._stamp(Outgoing(party.name, hold, expires_us), now_us)
            for party in self.plan.parties
        ]

    def _events_of(self, message: Message, retained: bool, now_us: int) -> tuple[Event, ...]:
        if (forged := impersonation(message)) is not None:
            self._drop(forged)
            return ()
        if isinstance(message.body, PartyState) and message.source in self._known:
            self.seen[message.source] = message.body
        if message.epoch > self.epoch and message.source == COORDINATOR:
            # Also the broker's memory of it: under one client identifier the later coordinator
            # cuts us off while it says so, and all that we hear of it afterwards is what is kept.
            raise OutdatedCoordinator(
                f"MQTT '{message.source}': has epoch {message.epoch}, ours is {self.epoch}; "
                "another coordinator is at work, end one of them [LNK008]"
            )
        if retained:
            return ()  # The broker's memory is for showing; a fresh heartbeat comes soon (WR9).
        if message.epoch > self.epoch:
            return self._of_later_epoch(message, now_us)
        if (ruled_out := self._rule_out(message, now_us)) is not None:
            return ruled_out
        missed = self.gaps.take(message, self._core_us(now_us))
        if message.epoch < self.epoch and not isinstance(message.body, PartyState | FloorSignals):
            # Command numbers of an earlier coordinator may be ours again.
            self._drop(f"'{message.source}' reports in an earlier epoch")
            return missed
        self._require_own_numbers(message)
        self._keep_trace(message)
        if isinstance(message.body, _OVER):
            self._write_owed(message.source, message.body.command)
        translation = to_events(self.plan, message, self._cell_us(now_us), self.origin_us)
        for reason in translation.dropped:
            self._drop(reason)
        return (*translation.events, *missed)

    def _of_later_epoch(self, message: Message, now_us: int) -> tuple[Event, ...]:
        """Count a party that obeys another coordinator as lost: its word alone ends nobody."""
        # Whether it obeys somebody else or is mistaken: it does not obey us, so everybody holds.
        self._drop(f"'{message.source}' obeys a later epoch than ours; it counts as lost")
        return self._lose(message.source, now_us)

    def _rule_out(self, message: Message, now_us: int) -> tuple[Event, ...] | None:
        """Return what follows of a party that is simulated where a real one stands, or the reverse.

        None for everybody else. Whatever way it came to the bus: as far as the core knows it is not
        there, and so it is sent no command.
        """
        name, body = message.source, message.body
        if not isinstance(body, PartyState) or not body.online:
            return () if name in self._ruled_out else None
        if self._stands is None or name == COORDINATOR:
            return None
        stands = self._stands.stands(name)
        if body.simulated is (stands is not Standing.REAL):
            self._ruled_out.discard(name)
            return None
        kind = "simulated" if body.simulated else "REAL"
        because = f"says that it is {kind}, and stands here as {stands}: it is sent nothing"
        self._drop(f"'{name}' {because}")
        if name in self._ruled_out:
            return ()
        self._ruled_out.add(name)
        return self._lose(name, now_us, because)

    def _lose(self, name: str, now_us: int, because: str = "") -> tuple[Event, ...]:
        """Return that a party is lost, nothing for a name that is none."""
        party = party_of(self.plan, name)
        return () if party < 0 else (PartyLost(self._core_us(now_us), party, because),)

    def _require_own_numbers(self, message: Message) -> None:
        """See that no party has done more than the journal of a resumed run knows."""
        body = message.body
        if not self.is_resumed or not isinstance(body, PartyState):
            return
        if (number := max(body.running, body.last_command)) > self.state.command:
            raise OutdatedCoordinator(
                f"MQTT '{message.source}': has obeyed command {number}, the journal ends at "
                f"{self.state.command}; it has lost its end or another run came after it, "
                "begin a new run [LNK011]"
            )

    def _write_owed(self, party: str, command: int) -> None:
        if (owed := self.owed.pop((party, command), None)) is None:
            return
        if self._observers.records is not None:
            self._observers.records(self._prove(*owed))

    def _keep_trace(self, message: Message) -> None:
        body = message.body
        if isinstance(body, _TRACED) and body.trace is not None:
            self._traces.pop((message.source, body.command), None)
            self._traces[message.source, body.command] = body.trace
            if len(self._traces) > TRACES_MAX:
                del self._traces[next(iter(self._traces))]

    def _drop(self, reason: str) -> None:
        if reason in self.dropped or len(self.dropped) < REASONS_MAX:
            self.dropped[reason] = self.dropped.get(reason, 0) + 1

    def _settle(self, events: Sequence[Event], now_us: int) -> list[Message]:
        journal = self._observers.journal
        decided: list[tuple[Event, tuple[Effect, ...], State]] = []
        for event in events:
            if journal is not None:
                journal.append(event)
            self.state, effects = decide(self.plan, self.state, event)
            decided.append((event, effects, self.state))
        if journal is not None and any(effects for _, effects, _ in decided):
            journal.commit(self.state)
        messages: list[Message] = []
        for event, effects, state in decided:
            self._tell(event, effects, state)
            for effect in effects:
                outgoing = to_outgoing(self.plan, effect, self.origin_us)
                if outgoing is not None:
                    messages.append(self._stamp(outgoing, now_us))
        return messages

    def _tell(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        if self._observers.records is not None:
            for effect in effects:
                if isinstance(effect, WriteRecord):
                    self._observers.records(self._prove(effect, event.at_us))
        for listener in self._observers.listeners:
            listener(event, effects, state)

    def _prove(self, effect: WriteRecord, at_us: int) -> Proof:
        party = self.plan.parties[effect.party].name
        seen = self.seen.get(party, PartyState(online=False))
        trace = self._traces.get((party, effect.command))
        return Proof(effect, at_us, trace, seen.tool, seen.simulated)

    def _stamp(self, outgoing: Outgoing, now_us: int) -> Message:
        self._sequence += 1
        ordinal = self._ordinals.next(outgoing.subject, outgoing.body)
        now_us = self._cell_us(now_us)
        return to_message(outgoing, Envelope(self.epoch, self._sequence, now_us, ordinal))

    def _cell_us(self, now_us: int) -> int:
        """Return the cell's time, kept from running backwards when a clock is set."""
        self._now_us = max(self._now_us, now_us)
        return self._now_us

    def _core_us(self, now_us: int) -> int:
        return self._cell_us(now_us) - self.origin_us
