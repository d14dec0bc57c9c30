"""Judge motion: never while it is forbidden, never twice, never without a lease or a person.

Units: ``*_us`` whole microseconds.
"""

from coordinator.campaign.board import Command
from coordinator.campaign.judge import Judge, Oracle
from coordinator.core.effects import RaisePrompt
from coordinator.core.events import Act
from coordinator.wire.messages import (
    Accepted,
    Armed,
    Do,
    Faulted,
    FloorSignals,
    Held,
    Interrupted,
    Message,
    PartyState,
    Started,
)

REST_US = 12_000_000
"""From a trip heard to everybody at rest: 3 s of holding, repeated over a bus that loses, and 2 s
in which a short action may be finished."""
LEASE_SLACK_US = 3_500_000
"""From the end of a lease to rest, as the party's own heartbeat tells: relief, finishing, 1 s."""
ARM_AGE_US = 1_500_000
"""An arm believes a signal for so long, as the contract says."""
MOVING = ("running", "holding")
ACTIVE = ("running", "pausing", "paused", "restarting")


class Gated(Oracle):
    """I: nothing moves while an interlock is active or unknown; only a person's restart moves."""

    def __init__(self, judge: Judge) -> None:
        """Nothing is latched, nothing stands."""
        super().__init__(judge)
        self._latched: dict[str, None] = {}
        self._stood = False
        self._restarted_us = -1

    def ordered(self, now_us: int, message: Message, command: Command) -> None:
        """A command that moves needs every gate."""
        if command.moves:
            self._judge_motion(now_us, command, "do")

    def released(self, now_us: int, message: Message, command: Command) -> None:
        """A release moves as well."""
        if command.moves:
            self._judge_motion(now_us, command, "release")

    def heard(self, now_us: int, message: Message) -> None:
        """A trip latches, and brings everybody to rest."""
        if not isinstance(message.body, FloorSignals) or self.board.phase == "idle":
            return
        for gate in self.ground.gates:
            if not gate.is_trip or message.body.signals.get(gate.signal) is True:
                continue
            if gate.name not in self._latched and self.board.phase in ACTIVE:
                self._latched[gate.name] = None
                self.judge.later(now_us + REST_US, "I4", gate.name, self._who_moves)

    def acted(self, now_us: int, act: Act) -> None:
        """Reset clears what is good again; restart lets go on."""
        if act is Act.RESET:
            for gate in self.ground.gates:
                if self.board.is_good(gate.signal, gate.max_age_us, now_us):
                    self._latched.pop(gate.name, None)
        elif act is Act.RESTART:
            self._restarted_us = now_us

    def shown(self, now_us: int, phase: str) -> None:
        """What was held moves only after a person's restart."""
        if phase in ("holding", "held", "stopped", "aborted", "complete"):
            self._stood = True
        elif phase == "restarting":
            self._stood = False
            if self._restarted_us != now_us:
                self.judge.report("I3", phase, "it restarts without a person's word")
            if self._latched:
                text = f"it restarts though {list(self._latched)} is not reset"
                self.judge.report("I6", phase, text)

    def _judge_motion(self, now_us: int, command: Command, kind: str) -> None:
        step = self.ground.steps.get(command.step)
        excepted, needs = ((), ()) if step is None else (step.exceptions, step.needs)
        for index, gate in enumerate(self.ground.gates):
            if gate.is_permissive and index not in needs:
                continue
            if index in excepted and not gate.is_trip:
                continue
            if not self.board.is_good(gate.signal, gate.max_age_us, now_us):
                known = self.board.signals.get(gate.signal)
                text = f"{kind} {command.step} to {command.party}: {gate.signal} is {known}"
                self.judge.report("I1", f"{kind} {gate.name}", text)
        if self._latched:
            text = f"{kind} {command.step} to {command.party}: {list(self._latched)} not reset"
            self.judge.report("I2", kind, text)
        if self._stood:
            text = f"{kind} {command.step} to {command.party} before a person restarted"
            self.judge.report("I3", kind, text)

    def _who_moves(self) -> str:
        if not self._latched or not self._stood:
            return "" if self._stood or not self._latched else "a trip was heard, nothing is held"
        moving = [p for p in self.ground.arms if self._moves(p)]
        return f"{moving} still move long after a trip" if moving else ""

    def _moves(self, party: str) -> bool:
        return self.board.states[party] in MOVING and not self.board.dead.get(party, False)


class AtRest(Oracle):
    """H: held is shown only when everybody stands, and said only by who does."""

    def __init__(self, judge: Judge) -> None:
        """Nobody has woken up."""
        super().__init__(judge)
        self._boots: dict[str, int] = {}

    def shown(self, now_us: int, phase: str) -> None:
        """Whoever must hold is told at once; held is looked at party by party."""
        if phase in ("holding", "stopping", "aborting"):
            self.judge.later(now_us, "H4", phase, self._untold, now_us)
        if phase != "held":
            return
        for party in self.ground.parties:
            live = self.board.live.get(party)
            if live is None or not live.moves or self.board.dead.get(party, False):
                continue
            if self.board.states[party] in MOVING:
                text = f"held is shown while {party} is {self.board.states[party]}"
                self.judge.report("H1", live.action, text)

    def _untold(self, since_us: int) -> str:
        told = self.board.holds_us
        untold = [party for party in self.ground.parties if told.get(party, -1) < since_us]
        return f"{', '.join(untold)} is not told to hold" if untold else ""

    def reported(self, now_us: int, message: Message) -> None:
        """Nobody says that it stands while it is at work, or wakes up ready to move."""
        body, party = message.body, message.subject
        if isinstance(body, Held):
            live = self.board.live.get(party)
            if live is not None and live.moves:
                text = f"{party} says that it stands, and works on {live.step}"
                self.judge.report("H2", live.action, text)
        elif isinstance(body, PartyState) and body.boot != self._boots.get(party, body.boot):
            self._boots[party] = body.boot
            if body.state != "held":
                self.judge.report("H3", "boot", f"{party} wakes up {body.state}")
        elif isinstance(body, PartyState):
            self._boots[party] = body.boot


class OnlyOnce(Oracle):
    """A: a command is numbered once, sent again only if it never arrived, and done once."""

    def __init__(self, judge: Judge) -> None:
        """No number was given out."""
        super().__init__(judge)
        self._last: dict[tuple[str, int], int] = {}
        self._sent: dict[tuple[str, int], int] = {}
        self._late: dict[tuple[str, int], None] = {}
        self._over: dict[str, tuple[int, int]] = {}

    def ordered(self, now_us: int, message: Message, command: Command) -> None:
        """Numbers grow; the same one comes again only after a refusal."""
        key = command.party, command.number
        if command.said_us == now_us and key not in self._sent:
            last = self._last.get((command.party, message.epoch), 0)
            if command.number <= last:
                text = f"{command.party}: command {command.number} after {last}"
                self.judge.report("A1", "do", text)
            self._last[command.party, message.epoch] = max(last, command.number)
        elif not command.refused:
            text = f"{command.party}: command {command.number} is sent again without need"
            self.judge.report("A2", "do", text)
        command.refused = False  # Each refusal allows one more sending.
        self._sent[key] = self._sent.get(key, 0) + 1
        if len(self._sent) > 40:
            del self._sent[next(iter(self._sent))]

    def told(self, now_us: int, party: str, message: Message) -> None:
        """Remember commands that came too late."""
        body = message.body
        if isinstance(body, Do) and message.expires_us is not None:
            if now_us > message.expires_us + self.board.slack_us:
                self._late[party, body.command] = None
            else:
                self._late.pop((party, body.command), None)

    def reported(self, now_us: int, message: Message) -> None:
        """What came too late is not begun; what ended is not begun again."""
        body, party = message.body, message.subject
        if isinstance(body, Accepted | Armed) and (party, body.command) in self._late:
            self._late.pop((party, body.command))
            command = self.board.command(party, body.command)
            if command is not None and (isinstance(body, Armed) or command.begun_us == now_us):
                self.judge.report("A3", "do", f"{party} obeys {body.command}, which had expired")
        if isinstance(body, PartyState) and body.running:
            command = self.board.command(party, body.running)
            ended = command is not None and command.ended and command.ended_us < now_us
            if ended and body.state == "running":
                self.judge.report("A4", "do", f"{party} works on {body.running} once more")


class Leased(Oracle):
    """L: an arm moves only while a fresh lease reaches it."""

    def reported(self, now_us: int, message: Message) -> None:
        """Whoever moves must have a lease."""
        body, party = message.body, message.subject
        until_us = self.board.lease_us.get(party, 0) + self.board.slack_us
        if isinstance(body, Accepted | Started):
            command = self.board.command(party, body.command)
            if command is not None and command.begun_us == now_us and now_us >= until_us:
                self.judge.report("L1", "start", f"{party} begins {command.step} without a lease")
            if command is not None and command.begun_us == now_us and command.moves:
                self._judge_signals(now_us, command)
        elif not isinstance(body, PartyState) or body.state != "running":
            return
        elif now_us > until_us + LEASE_SLACK_US:
            self.judge.report("L2", "motion", f"{party} moves long after its lease")

    def _judge_signals(self, now_us: int, command: Command) -> None:
        """An arm watches the trips by itself; whoever commands it may be wrong."""
        if command.party not in self.ground.arms:
            return
        signals, sent_us = self.board.told_signals.get(command.party, ({}, -ARM_AGE_US))
        for gate in self.ground.gates:
            if not gate.is_trip:
                continue
            age_us = now_us - sent_us - self.board.slack_us
            if signals.get(gate.signal) is not True or age_us > ARM_AGE_US:
                text = f"{command.party} begins {command.step}: {gate.signal} is not good to it"
                self.judge.report("L4", "start", text)


class Asked(Oracle):
    """R and P: tries are bounded, and a person's word is waited for where one is needed."""

    def __init__(self, judge: Judge) -> None:
        """Nothing has failed."""
        super().__init__(judge)
        self._tries: dict[tuple[str, str, str], int] = {}
        self._failed: dict[tuple[str, str], str] = {}
        self._lost: dict[str, str] = {}
        self._open: dict[int, str] = {}
        self._counts: dict[str, list[int]] = {}

    def heard(self, now_us: int, message: Message) -> None:
        """Count failures; note what nobody can know."""
        body, party = message.body, message.subject
        if not isinstance(body, Faulted | Interrupted):
            return
        command = self.board.command(party, body.command)
        if command is None or command.number in self._counted(party):
            return
        self._note_counted(party, command.number)
        step = self.ground.steps.get(command.step)
        if isinstance(body, Interrupted):
            if body.evidence.get("process_died"):
                self._lost[party] = command.step
            return
        if step is not None and command.action == step.action:
            key = party, command.step, body.fault
            self._tries[key] = self._tries.get(key, 0) + 1
            self._failed[party, command.step] = body.fault

    def ordered(self, now_us: int, message: Message, command: Command) -> None:
        """Whatever moves must be allowed without a person, or have one behind it."""
        party = command.party
        step = self.ground.steps.get(command.step)
        if not command.moves:
            return
        for number, asked in self._open.items():
            if asked == party:
                text = f"{party} is sent {command.step} while question {number} is open"
                self.judge.report("P1", "do", text)
        if party in self._lost:
            text = f"{party} is sent {command.step} though {self._lost[party]} is unknown"
            self.judge.report("R3", "do", text)
        if step is None or command.action != step.action:
            return
        fault = self._failed.get((party, command.step))
        if fault is None:
            return
        allowed = 1 if fault in self.ground.alone_never else step.attempts.get(fault, 1)
        if self._tries[party, command.step, fault] >= allowed:
            text = f"{command.step}: tried again after {fault}, {allowed} allowed"
            code = "R2" if fault in self.ground.alone_never else "R1"
            self.judge.report(code, step.action, text)

    def asked(self, now_us: int, prompt: RaisePrompt) -> None:
        """A question is open until it is answered or withdrawn."""
        self._open[prompt.number] = self.ground.parties[prompt.party]

    def withdrawn(self, now_us: int, number: int) -> None:
        """It is open no more."""
        self._open.pop(number, None)

    def answered(self, now_us: int, number: int, option: str) -> None:
        """A person has decided; count anew for whom it was asked."""
        party = self._open.pop(number, None)
        if party is not None:
            self._lost.pop(party, None)
            self._forgive()

    def acted(self, now_us: int, act: Act) -> None:
        """A restart is a person's word for all, but not about what nobody knows."""
        if act is Act.RESTART:
            self._forgive()

    def _forgive(self) -> None:
        # A span is decided for both sides at once, so the word counts for all that stand.
        self._tries, self._failed = {}, {}

    def _counted(self, party: str) -> list[int]:
        return self._counts.setdefault(party, [])

    def _note_counted(self, party: str, number: int) -> None:
        numbers = self._counted(party)
        numbers.append(number)
        del numbers[:-8]
