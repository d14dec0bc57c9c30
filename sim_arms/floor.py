"""The floor: it publishes the floor signals and answers the hoist's lane for its operator.

Units: ``*_us`` whole microseconds of the cell's clock.
Invariants: F1, every signal is repeated at a fixed period and told at once when it changes; F2, a
cause that silences the floor silences it whole.
"""

from collections.abc import Mapping, Sequence
from random import Random

from coordinator.wire.messages import AskState, FloorSignals, Message
from coordinator.wire.ordinals import Ordinals
from coordinator.wire.topics import FLOOR
from sim_arms.activities.bench import HoistBench
from sim_arms.arm import Clock, SteelWorkbench
from sim_arms.causes import Cause, Causes, floor_signals
from sim_arms.ledger import Ledger, LedgerStore, MemoryStore
from sim_arms.shell import Shell
from sim_arms.steel import Steel
from sim_arms.workbench import Settings

PERIOD_US = 500_000


class Floor:
    """Signals of the floor, and the shell of the hoist."""

    def __init__(
        self,
        hoist: Shell,
        bench: HoistBench,
        causes: Sequence[Cause] = (),
        *,
        signals: Mapping[str, bool | None],
        origin_us: int = 0,
        period_us: int = PERIOD_US,
    ) -> None:
        """Set the floor up; signals that the hoist means to be otherwise follow the hoist.

        Args:
            hoist: Obeys the commands of the hoist's lane.
            bench: What the hoist works on; its signals are published from here.
            causes: The causes of the case.
            signals: Every signal in the order of the cell, with what it is when all is well.
            origin_us: When the case begins on the cell's clock.
            period_us: How often signals are repeated.
        """
        self.hoist = hoist
        self.bench = bench
        self._case = tuple(causes)
        self._causes = Causes(causes)
        self._by_hand = dict(signals)
        self._origin_us = origin_us
        self._period_us = period_us
        self._published: dict[str, bool | None] | None = None
        self._repeat_us = origin_us
        self._edges_us = _edges_us(causes, origin_us)
        self._edge = 0
        self._sequence = 0
        self._ordinals = Ordinals()

    @classmethod
    def on(
        cls,
        settings: Settings,
        steel: Steel,
        causes: Sequence[Cause],
        seed: int | str,
        *,
        signals: Mapping[str, bool | None],
        store: LedgerStore | None = None,
        origin_us: int = 0,
    ) -> "Floor":
        """Put the floor around the steel; `settings` are those of the hoist's lane."""
        clock = Clock(origin_us)
        dice = Random(f"{seed}:{settings.name}")
        bench = HoistBench(steel, Causes(causes), dice, clock.now_s)
        hoist = Shell(
            settings,
            SteelWorkbench(bench, clock),
            Ledger(MemoryStore() if store is None else store),
            Random(f"{seed}:{settings.name}:start"),
        )
        return cls(hoist, bench, causes, signals=signals, origin_us=origin_us)

    @property
    def name(self) -> str:
        """The floor's name on the bus."""
        return FLOOR

    @property
    def answers_to(self) -> tuple[str, ...]:
        """The subjects whose commands it obeys."""
        return self.hoist.answers_to

    @property
    def signals(self) -> Mapping[str, bool | None]:
        """The signals by hand, to read."""
        return self._by_hand

    @property
    def acted(self) -> Mapping[Cause, None]:
        """The causes that have changed a signal."""
        return self._causes.acted

    def set_signal(self, name: str, value: bool | None, now_us: int) -> list[Message]:
        """Be told by a person what a signal is.

        Raises:
            KeyError: the cell has no such signal.
        """
        if name not in self._by_hand:
            raise KeyError(name)
        self._by_hand[name] = value
        return self._tell(now_us)

    def receive(self, message: Message, now_us: int, retained: bool = False) -> list[Message]:
        """Take one message in for the hoist and return what is to be sent, in order."""
        if isinstance(message.body, FloorSignals):
            return []  # Our own, from the broker.
        if isinstance(message.body, AskState) and not retained:
            self._repeat_us = now_us
        return [*self.hoist.receive(message, now_us, retained), *self._tell(now_us)]

    def advance(self, now_us: int) -> list[Message]:
        """Do everything that is due by `now_us` and return what is to be sent, in order."""
        while self._edge < len(self._edges_us) and self._edges_us[self._edge] <= now_us:
            self._edge += 1
        due = [] if _is_later(self.hoist.next_us(), now_us) else self.hoist.advance(now_us)
        return [*due, *self._tell(now_us)]

    def next_us(self) -> int | None:
        """Return when `advance` must be called next."""
        next_us = self._repeat_us
        if self._edge < len(self._edges_us):
            next_us = min(next_us, self._edges_us[self._edge])
        hoist_us = self.hoist.next_us()
        return next_us if hoist_us is None else min(next_us, hoist_us)

    def connected(self, now_us: int) -> list[Message]:
        """Say how hoist and signals stand."""
        self._repeat_us = now_us
        return [*self.hoist.connected(now_us), *self._tell(now_us)]

    def will(self) -> Message:
        """Return what the broker says for the hoist when the link breaks."""
        return self.hoist.will()

    def farewell(self, now_us: int) -> Message:
        """Return what is said for the hoist before the floor leaves on purpose."""
        return self.hoist.farewell(now_us)

    def reseed(self, seed: int | str) -> None:
        """Draw what is yet to come by chance anew."""
        self.hoist.reseed(seed)

    def reborn(self, now_us: int) -> "Floor":
        """Return the floor after its process died and started anew; the hoist's ledger survives."""
        born = Floor(
            self.hoist.reborn(now_us),
            self.bench,
            self._case,
            signals=self._by_hand,
            origin_us=self._origin_us,
            period_us=self._period_us,
        )
        born._repeat_us = now_us
        born._edges_us = tuple(edge for edge in self._edges_us if edge > now_us)
        return born

    def add_causes(self, causes: Sequence[Cause]) -> None:
        """Let causes act that were not known before."""
        self.hoist.add_causes(causes)
        self._causes.add(causes)
        self._case += tuple(causes)
        edges = {*self._edges_us[self._edge :], *_edges_us(causes, self._origin_us)}
        self._edges_us, self._edge = tuple(sorted(edges)), 0

    def _tell(self, now_us: int) -> list[Message]:
        """Publish the signals if they changed or their period is over; the hoist hears them too."""
        now_s = (now_us - self._origin_us) / 1e6
        meant = self._meant()
        signals = floor_signals(self._causes, now_s, meant)
        is_due = now_us >= self._repeat_us
        if signals == self._published and not is_due:
            return []
        self._published = signals
        self._repeat_us = now_us + self._period_us
        if signals is None:
            return []
        self._sequence += 1
        epoch = self.hoist.epoch
        body = FloorSignals(signals)
        ordinal = self._ordinals.next(FLOOR, body)
        message = Message(FLOOR, FLOOR, self._sequence, epoch, now_us, body, ordinal=ordinal)
        return [message, *self.hoist.receive(message, now_us)]

    def _meant(self) -> dict[str, bool | None]:
        """Return what floor and hoist mean the signals to be: good only if both say so."""
        meant, by_hoist = self._by_hand.copy(), self.bench.signals
        for name, value in by_hoist.items():
            if value is not True and meant.get(name, False) is not False:
                meant[name] = value
        return meant


def _is_later(due_us: int | None, now_us: int) -> bool:
    return due_us is None or due_us > now_us


def _edges_us(causes: Sequence[Cause], origin_us: int) -> tuple[int, ...]:
    """Return every time at which a cause begins or ends, in order."""
    starts = [cause.at_us for cause in causes if cause.at_us is not None]
    ends = [(cause.at_us or 0) + cause.for_us for cause in causes if cause.for_us is not None]
    return tuple(origin_us + edge_us for edge_us in sorted({*starts, *ends}))
