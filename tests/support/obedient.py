"""A party that does what it is told after a fixed time; it knows only the wire."""

from collections.abc import Sequence
from typing import Protocol

from coordinator.wire.messages import (
    Accepted,
    Armed,
    Ask,
    AskState,
    Body,
    Disarm,
    Do,
    Faulted,
    Finished,
    Held,
    Hold,
    MakeReady,
    Message,
    PartyState,
    Ready,
    Release,
    Started,
    Trace,
)

HEARTBEAT_US = 100_000
TRACE = Trace((0.0, 1.0, 2.0), (10.0, 600.0, 1000.0), (1e5, 6e6, 1e7), (0.0, 0.4, 0.7))


class World(Protocol):
    """A party of a virtual world."""

    name: str

    def receive(
        self, message: Message, now_us: int, retained: bool = False
    ) -> Sequence[Message]: ...

    def advance(self, now_us: int) -> Sequence[Message]: ...

    def next_us(self) -> int | None: ...


class ObedientParty:
    """An arm whose actions take `work_us`; `faults` names those that fail, and how often.

    Of its signs of life every `loses`-th gets lost on its way, 0 for none.
    """

    def __init__(
        self,
        name: str,
        *,
        work_us: int = 30_000,
        faults: dict[str, int] | None = None,
        loses: int = 0,
    ) -> None:
        self._loses = loses
        self._beats = 0
        self.lost = 0
        """How many of its messages nobody ever got."""
        self.name = name
        self.obeyed: list[Body] = []
        self._work_us = work_us
        self._faults = dict(faults or {})
        self._epoch = 0
        self._sequence = 0
        self._heartbeat_us = 0
        self._armed: Do | None = None
        self._working: tuple[int, Do] | None = None

    def receive(self, message: Message, now_us: int, retained: bool = False) -> list[Message]:
        """Obey a command."""
        if message.subject != self.name or retained:
            return []
        self._epoch = max(self._epoch, message.epoch)
        self.obeyed.append(message.body)
        return [self._say(body, now_us) for body in self._obey(message.body, now_us)]

    def advance(self, now_us: int) -> list[Message]:
        """Finish work that is due, and give a sign of life."""
        said: list[Message] = []
        if self._working is not None and self._working[0] <= now_us:
            said.append(self._say(self._end(self._working[1]), now_us))
            self._working = None
        if self._heartbeat_us <= now_us:
            self._heartbeat_us = now_us + HEARTBEAT_US
            running = 0 if self._working is None else self._working[1].command
            beat = self._say(self._state(running), now_us)
            self._beats += 1
            if self._loses and self._beats % self._loses == 0:
                self.lost += 1
            else:
                said.append(beat)
        return said

    def next_us(self) -> int:
        """Return when something is due."""
        due = [self._heartbeat_us]
        if self._working is not None:
            due.append(self._working[0])
        return min(due)

    def _obey(self, body: Body, now_us: int) -> list[Body]:
        match body:
            case MakeReady(number):
                return [Ready(number)]
            case Hold(reason, number):
                self._armed = self._working = None
                return [Held(reason, number)]
            case Do(command) if body.barrier is not None:
                self._armed = body
                return [Accepted(command), Armed(command)]
            case Do(command):
                self._working = (now_us + self._work_us, body)
                return [Accepted(command)]
            case Release(command, start_us) if self._armed is not None:
                self._working, self._armed = (start_us + self._work_us, self._armed), None
                return [Started(command, start_us)]
            case Disarm():
                self._armed = None
                return []
            case Ask(command):
                return [Accepted(command)]
            case AskState():
                return [self._state(0 if self._working is None else self._working[1].command)]
            case _:
                return []

    def _end(self, do: Do) -> Body:
        if self._faults.get(do.action, 0) > 0:
            self._faults[do.action] -= 1
            return Faulted(do.command, "torque_not_reached", trace=TRACE)
        if do.action == "pull":
            return Finished(do.command, {"torque_nm": 998.0, "is_good": True}, TRACE)
        return Finished(do.command)

    def _say(self, body: Body, now_us: int) -> Message:
        self._sequence += 1
        number = self._sequence
        return Message(self.name, self.name, number, self._epoch, now_us, body, ordinal=number)

    def _state(self, running: int) -> PartyState:
        return PartyState(True, boot=7, running=running, tool="wrench 3")


def play(parties: Sequence[World], *, until_us: int, latency_us: int = 1_000) -> list[Message]:
    """Play parties in virtual time, every message reaching every other party; return them all."""
    under_way: list[tuple[int, int, Message]] = []
    told: list[Message] = []

    def post(messages: Sequence[Message], now_us: int) -> None:
        for message in messages:
            told.append(message)
            under_way.append((now_us + latency_us, len(told), message))

    while True:
        dues = [due for party in parties if (due := party.next_us()) is not None]
        now_us = min([at_us for at_us, _, _ in under_way] + dues, default=until_us)
        if now_us >= until_us:
            return told
        under_way.sort(key=lambda item: item[:2])
        while under_way and under_way[0][0] <= now_us:
            _, _, message = under_way.pop(0)
            for party in parties:
                if party.name != message.source:
                    post(party.receive(message, now_us), now_us)
        for party in parties:
            due_us = party.next_us()
            if due_us is not None and due_us <= now_us:
                post(party.advance(now_us), now_us)
