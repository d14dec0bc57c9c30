"""Keep what messages have shown: every command, who is at rest, what the coordinator has heard.

The oracles look things up here. Nothing comes from the core but what left it: messages, words to
people, and the phase that it shows.

Units: ``*_us`` whole microseconds since the run began.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from coordinator.campaign.ground import STAND_BY, Ground
from coordinator.wire.messages import (
    Accepted,
    Armed,
    Do,
    Faulted,
    Finished,
    FloorSignals,
    Held,
    Interrupted,
    Lease,
    Message,
    PartyState,
    Progressed,
    Ready,
    Refused,
    Release,
    Started,
    Value,
)

KEPT = 12
"""Ended commands and meetings kept for each party; what is older is asked for by nobody."""
ENDS = (Finished, Faulted, Interrupted)


@dataclass(slots=True)
class Command:
    """One command, as its messages tell."""

    party: str
    number: int
    epoch: int
    step: str
    action: str
    barrier: str
    parameters: Mapping[str, Value]
    said_us: int
    armed: bool = False
    """The coordinator has heard that it is armed."""
    refused: bool = False
    """The coordinator has heard that it was refused."""
    start_us: int = -1
    """Start time of its release, as sent."""
    start_told_us: int = -1
    """Start time of its release, as it reached the party."""
    begun_us: int = -1
    started_us: int = -1
    ended: str = ""
    """How it ended, as its party says."""
    ended_us: int = -1
    heard: str = ""
    """How it ended, as far as the coordinator has heard."""

    @property
    def moves(self) -> bool:
        """Tell whether anything moves for it."""
        return self.action != STAND_BY

    @property
    def is_live(self) -> bool:
        """Tell whether its party is at work on it."""
        return self.begun_us >= 0 and not self.ended


@dataclass(slots=True)
class Meeting:
    """One arming of a barrier."""

    barrier: str
    commands: dict[str, int] = field(default_factory=dict)
    """The latest command of each party."""
    releases: dict[str, int] = field(default_factory=dict)
    """Start time sent to each party."""


class Board:
    """What has been seen so far."""

    def __init__(self, ground: Ground) -> None:
        """Begin before anything was said."""
        self.ground = ground
        self.now_us = 0
        self.slack_us = 0
        """By how much the clocks of two parties may differ in this case: whoever reads off another
        clock than ours is right by its own."""
        self.phase = "idle"
        self.commands: dict[tuple[str, int], Command] = {}
        self.live: dict[str, Command] = {}
        """What each party is at work on, by its own word."""
        self.meetings: dict[str, Meeting] = {}
        self.states: dict[str, str] = dict.fromkeys(ground.parties, "held")
        self.dead: dict[str, bool] = {}
        """Parties whose process is down, or whose will was sent."""
        self.boots: dict[str, int] = {}
        self.signals: dict[str, tuple[bool | None, int]] = {}
        """What the coordinator last heard of each signal, and when it took it in."""
        self.holds_us: dict[str, int] = {}
        """When each party was last told to hold."""
        self.hold_epochs: dict[str, int] = {}
        """By which coordinator each party was last told so."""
        self.epoch = 0
        """Of the coordinator at work."""
        self.told_signals: dict[str, tuple[Mapping[str, bool | None], int]] = {}
        """The last signals that reached each arm, and when they were sent."""
        self.lease_us: dict[str, int] = {}
        """Until when each party may move, by the leases that reached it."""
        self.last_us: dict[str, int] = dict.fromkeys(ground.parties, 0)
        """When each party last showed that work goes on, or ended it."""
        self.finished = 0
        """Steps that parties ended well."""

    def command(self, party: str, number: int) -> Command | None:
        """Return a command, None if it was never sent or is long over."""
        return self.commands.get((party, number))

    def is_good(self, signal: str, max_age_us: int, now_us: int) -> bool:
        """Tell whether a signal is true and fresh, as far as the coordinator has heard."""
        value, heard_us = self.signals.get(signal, (None, -1))
        return value is True and now_us - heard_us <= max_age_us + self.slack_us

    # -- what is said ----------------------------------------------------------------------------

    def take_do(self, now_us: int, message: Message, do: Do) -> Command:
        """Note a command that leaves."""
        barrier = do.barrier or ""
        known = self.commands.get((message.subject, do.command))
        if known is not None:
            return known
        command = Command(
            message.subject,
            do.command,
            message.epoch,
            do.step,
            do.action,
            barrier,
            do.parameters,
            now_us,
        )
        self.commands[message.subject, do.command] = command
        self._forget_old(message.subject)
        if barrier:
            meeting = self.meetings.setdefault(barrier, Meeting(barrier))
            meeting.commands[message.subject] = do.command
            while len(self.meetings) > KEPT:
                del self.meetings[next(iter(self.meetings))]
        return command

    def take_release(self, message: Message, release: Release) -> Command | None:
        """Note a release that leaves."""
        command = self.command(message.subject, release.command)
        if command is not None:
            command.start_us = release.start_us
            if meeting := self.meetings.get(command.barrier):
                meeting.releases[message.subject] = release.start_us
        return command

    def take_report(self, now_us: int, message: Message) -> None:
        """Note what a party says of itself, whether or not it arrives."""
        body, party = message.body, message.subject
        match body:
            case PartyState():
                self._see_state(now_us, party, body)
                return
            case Held():
                self.states[party] = "held"
                return
            case Ready():
                self.states[party] = "idle"
                return
            case Progressed():
                self.last_us[party] = now_us
                return
        command = self.command(party, getattr(body, "command", 0))
        if command is None:
            return
        match body:
            case Accepted() | Started():
                self._begin(now_us, command, body)
            case Finished() | Faulted() | Interrupted() if not command.ended:
                command.ended, command.ended_us = type(body).__name__.lower(), now_us
                self.last_us[party] = now_us
                self.finished += isinstance(body, Finished) and command.moves
                if self.live.get(party) is command:
                    del self.live[party]

    def _see_state(self, now_us: int, party: str, body: PartyState) -> None:
        self.states[party] = body.state if body.online else "held"
        self.dead[party] = not body.online
        if self.boots.setdefault(party, body.boot) != body.boot:
            self.boots[party] = body.boot
            if (lost := self.live.pop(party, None)) is not None:
                lost.ended, lost.ended_us = "died", now_us

    def _begin(self, now_us: int, command: Command, body: Accepted | Started) -> None:
        if command.begun_us >= 0:
            return
        command.begun_us = now_us
        if isinstance(body, Started):
            command.started_us = body.started_us
        self.live[command.party] = command
        self.last_us[command.party] = now_us

    # -- what arrives ----------------------------------------------------------------------------

    def take_heard(self, now_us: int, message: Message) -> None:
        """Note what has reached the coordinator."""
        body = message.body
        if isinstance(body, FloorSignals):
            for name, value in body.signals.items():
                self.signals[name] = value, now_us
            return
        command = self.command(message.subject, getattr(body, "command", 0))
        if command is None:
            return
        match body:
            case Armed():
                command.armed, command.refused = True, False
            case Refused(_, reason) if reason != "duplicate":
                command.refused = True
            case Finished() | Faulted() | Interrupted() if not command.heard:
                command.heard = type(body).__name__.lower()

    def take_told(self, party: str, message: Message) -> None:
        """Note what has reached a party."""
        body = message.body
        if isinstance(body, Lease):
            self.lease_us[party] = max(self.lease_us.get(party, 0), body.until_us)
        elif isinstance(body, Release):
            command = self.command(message.subject, body.command)
            if command is not None:
                command.start_told_us = body.start_us

    def take_signals(self, now_us: int, target: str, message: Message) -> None:
        """Note the signals that have reached an arm, unless newer ones came before them."""
        body = message.body
        if isinstance(body, FloorSignals):
            known = self.told_signals.get(target)
            if known is None or message.sent_us >= known[1]:
                self.told_signals[target] = body.signals, message.sent_us

    def _forget_old(self, party: str) -> None:
        own = [key for key in self.commands if key[0] == party]
        for key in own[: max(0, len(own) - KEPT)]:
            if not self.commands[key].is_live:
                del self.commands[key]
