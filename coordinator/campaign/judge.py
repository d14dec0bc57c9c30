"""Let every oracle see what is said, heard, done and shown, and collect what they find broken.

Units: ``*_us`` whole microseconds since the run began.
"""

import heapq
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Protocol

from coordinator.campaign.board import Board, Command
from coordinator.campaign.ground import Ground
from coordinator.core.effects import Effect, Notify, RaisePrompt, WithdrawPrompt, WriteRecord
from coordinator.core.events import Act, Event, OperatorActed, PromptAnswered
from coordinator.core.state import State
from coordinator.wire.messages import (
    Do,
    Faulted,
    FloorSignals,
    Hold,
    Lease,
    Message,
    PartyState,
    Release,
    SimulatedFacts,
)
from coordinator.wire.topics import COORDINATOR

FINDINGS_MAX = 20
"""Chosen: one broken promise breaks others; whoever reads begins with the first."""

Take = Callable[[int, Message], None]
Check = Callable[..., str]
"""Looks once its time has come; returns what is wrong, empty for nothing. A bound method, since a
judge is copied with its run."""


@dataclass(frozen=True, slots=True)
class Violation:
    """A promise that was broken."""

    code: str
    """Which promise, as the list of oracles names it."""
    where: str
    """At what kind of step or message; part of the signature."""
    at_us: int
    text: str

    @property
    def signature(self) -> str:
        """What failures are grouped by."""
        return f"{self.code} at {self.where}" if self.where else self.code


class Oracle:
    """One who judges; it fills in whatever it wants to be told of."""

    def __init__(self, judge: "Judge") -> None:
        """Sit beside the others of one judge."""
        self.judge = judge
        self.board = judge.board
        self.ground = judge.board.ground

    def ordered(self, now_us: int, message: Message, command: Command) -> None:
        """A command leaves the coordinator."""

    def released(self, now_us: int, message: Message, command: Command) -> None:
        """A release leaves the coordinator."""

    def reported(self, now_us: int, message: Message) -> None:
        """A party speaks of itself; it may never arrive."""

    def heard(self, now_us: int, message: Message) -> None:
        """Something reaches the coordinator, but for how a party stands."""

    def told(self, now_us: int, party: str, message: Message) -> None:
        """Something reaches a party."""

    def acted(self, now_us: int, act: Act) -> None:
        """A person acts."""

    def answered(self, now_us: int, number: int, option: str) -> None:
        """A person answers."""

    def asked(self, now_us: int, prompt: RaisePrompt) -> None:
        """A person is asked."""

    def withdrawn(self, now_us: int, number: int) -> None:
        """A question is taken back."""

    def noticed(self, now_us: int, notice: Notify) -> None:
        """People are told something."""

    def shown(self, now_us: int, phase: str) -> None:
        """The procedure shows another phase."""

    def recorded(self, now_us: int, record: WriteRecord) -> None:
        """A record is written."""

    def renewed(self, now_us: int, epoch: int, phase: str) -> None:
        """A coordinator that started anew speaks for the first time."""


class Stranger(Protocol):
    """What makes an oracle for a judge."""

    def __call__(self, judge: "Judge") -> Oracle:
        """Return it."""


@dataclass(frozen=True, slots=True)
class Notice:
    """Something told to people."""

    at_us: int
    severity: str
    kind: str
    text: str


class Judge:
    """All oracles over one run."""

    def __init__(self, ground: Ground, oracles: Iterable[Stranger]) -> None:
        """Seat the oracles."""
        self.board = Board(ground)
        self.found: list[Violation] = []
        self.notices: list[Notice] = []
        self.faults: list[tuple[int, str, str]] = []
        """When the coordinator heard of which fault from whom."""
        self.hand_nm: float | None = None
        """The check torque told with the last answer."""
        self.is_taken = False
        """Whether the last answer has closed its question."""
        self.acts: int = 0
        """Acts and answers of people so far."""
        self._checks: list[tuple[int, int, str, str, Check, tuple[Any, ...]]] = []
        self._planned = 0
        self.oracles: list[Oracle] = []
        self._heard_by: list[Oracle] = []
        self._told_by: list[Oracle] = []
        self._reported_by: list[Oracle] = []
        for one in oracles:
            self.seat(one(self))

    def seat(self, oracle: Oracle) -> None:
        """Let one more look on."""
        self.oracles.append(oracle)
        for name, told in (
            ("heard", self._heard_by),
            ("told", self._told_by),
            ("reported", self._reported_by),
        ):
            # Most messages concern few; the rest are not even called.
            if getattr(type(oracle), name) is not getattr(Oracle, name):
                told.append(oracle)

    # -- hooks of the world ------------------------------------------------------------------------

    def said(self, now_us: int, source: str, message: Message) -> None:
        """See a message leave whoever says it."""
        if self._checks and self._checks[0][0] < now_us:
            self.look(now_us)
        self.board.now_us = now_us
        body = message.body
        if source != COORDINATOR:
            if not isinstance(body, FloorSignals):
                self.board.take_report(now_us, message)
                for oracle in self._reported_by:
                    oracle.reported(now_us, message)
            return
        if message.epoch > self.board.epoch:
            is_first, self.board.epoch = not self.board.epoch, message.epoch
            for oracle in self.oracles if not is_first else ():
                oracle.renewed(now_us, message.epoch, self.board.phase)
        if isinstance(body, Do):
            command = self.board.take_do(now_us, message, body)
            for oracle in self.oracles:
                oracle.ordered(now_us, message, command)
        elif isinstance(body, Hold):
            self.board.holds_us[message.subject] = now_us
            self.board.hold_epochs[message.subject] = message.epoch
        elif isinstance(body, Lease):
            if body.until_us - now_us > self.board.ground.lease_us + self.board.slack_us:
                self.report("L3", "lease", f"a lease until {body.until_us} leaves at {now_us}")
        elif isinstance(body, Release):
            released = self.board.take_release(message, body)
            if released is not None:
                for oracle in self.oracles:
                    oracle.released(now_us, message, released)

    def delivered(self, now_us: int, target: str, message: Message) -> None:
        """See a message arrive."""
        if self._checks and self._checks[0][0] < now_us:
            self.look(now_us)
        self.board.now_us = now_us
        body = message.body
        kind = type(body)
        if target == COORDINATOR:
            if kind is PartyState:
                return  # How a party stands is judged by its own word, as it leaves.
            self.board.take_heard(now_us, message)
            if isinstance(body, Faulted):
                self.faults.append((now_us, body.fault, message.subject))
            for oracle in self._heard_by:
                oracle.heard(now_us, message)
        elif kind is FloorSignals:
            self.board.take_signals(now_us, target, message)
        elif kind is not SimulatedFacts:  # Steel is no message: nobody is told of it.
            for party in self._parties(target, message):
                self.board.take_told(party, message)
                for oracle in self._told_by:
                    oracle.told(now_us, party, message)

    def decided(
        self, event: Event, effects: tuple[Effect, ...], state: State, now_us: int | None = None
    ) -> None:
        """See what people do, what they are shown, and what is recorded.

        Args:
            event: With the time by the coordinator's clock.
            effects: What follows.
            state: After it.
            now_us: The true time; that of the event where it is not given.
        """
        now_us = event.at_us if now_us is None else now_us
        if isinstance(event, OperatorActed):
            self.acts += 1
            for oracle in self.oracles:
                oracle.acted(now_us, event.act)
        elif isinstance(event, PromptAnswered):
            self.acts += 1
            self.hand_nm = event.torque_nm
            self.is_taken = all(one.number != event.prompt for one in state.prompts)
            for oracle in self.oracles:
                oracle.answered(now_us, event.prompt, event.option)
        for effect in effects:
            self._show(now_us, effect)
        if state.phase != self.board.phase:
            self.board.phase = state.phase.value
            for oracle in self.oracles:
                oracle.shown(now_us, state.phase.value)

    # -- for oracles -------------------------------------------------------------------------------

    def report(self, code: str, where: str, text: str) -> None:
        """Note a broken promise."""
        if len(self.found) < FINDINGS_MAX:
            self.found.append(Violation(code, where, self.board.now_us, text))

    def later(self, at_us: int, code: str, where: str, check: Check, *given: Any) -> None:
        """Look again once this moment has passed."""
        self._planned += 1
        heapq.heappush(self._checks, (at_us, self._planned, code, where, check, given))

    def look(self, now_us: int) -> None:
        """Do every check whose moment has passed."""
        while self._checks and self._checks[0][0] < now_us:
            _, _, code, where, check, given = heapq.heappop(self._checks)
            if text := check(*given):
                self.report(code, where, text)

    def _show(self, now_us: int, effect: Effect) -> None:
        match effect:
            case Notify(severity, kind, text):
                self.notices.append(Notice(now_us, severity, kind, text))
                for oracle in self.oracles:
                    oracle.noticed(now_us, effect)
            case RaisePrompt():
                self.notices.append(Notice(now_us, "alarm", "prompt", effect.fault or "point"))
                for oracle in self.oracles:
                    oracle.asked(now_us, effect)
            case WithdrawPrompt(number):
                for oracle in self.oracles:
                    oracle.withdrawn(now_us, number)
            case WriteRecord():
                for oracle in self.oracles:
                    oracle.recorded(now_us, effect)

    def _parties(self, target: str, message: Message) -> tuple[str, ...]:
        if isinstance(message.body, Lease):
            arms = self.board.ground.arms
            return (target,) if target in arms else self._elsewhere()
        return (message.subject,)

    def _elsewhere(self) -> tuple[str, ...]:
        ground = self.board.ground
        return tuple(party for party in ground.parties if party not in ground.arms)
