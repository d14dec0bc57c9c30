"""Drivers that break one promise each, made of an honest one whose messages are tampered with.

What goes in and what comes out is changed; the honest shell between is what `kit.py` gives to real
drivers.
"""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from coordinator.wire.messages import (
    Accepted,
    Armed,
    Ask,
    AskState,
    Body,
    Disarm,
    Do,
    Finished,
    FloorSignals,
    Held,
    Hold,
    Lease,
    MakeReady,
    Message,
    PartyState,
    Progressed,
    Ready,
    Refused,
    Release,
    Started,
    Value,
)
from sim_arms.kit import Ended, Gone, Working, party_of
from sim_arms.ledger import MemoryStore
from sim_arms.shell import Shell
from sim_arms.workbench import Settings

KNOWN = ("change_tool", "pull", "stand_by")
Bodies = list[Body]


class Lamp:
    """A device that burns for some seconds and moves nothing: enough to keep the contract with."""

    def __init__(self) -> None:
        self.tool = "gripper"
        self._until_s = 0.0
        self._wanted = ""

    def refusal(self, action: str, parameters: Mapping[str, Value]) -> str | None:
        """Know what the acceptance asks for."""
        return None if action in KNOWN else f"no action '{action}'"

    def begin(self, action: str, parameters: Mapping[str, Value]) -> None:
        """Burn for six seconds."""
        self._until_s = time.monotonic() + 6.0
        self._wanted = str(parameters.get("tool", ""))

    def look(self) -> Working | Ended | Gone:
        """Tell whether it still burns."""
        if time.monotonic() < self._until_s:
            return Working()
        self.tool = self._wanted or self.tool
        return Ended()

    def come_to_rest(self, on_hold: str) -> None:
        """Burn a tenth of a second longer, as a brake would take."""
        self._rest_s = time.monotonic() + 0.1

    def is_at_rest(self) -> bool:
        """Tell whether it is out."""
        return time.monotonic() >= self._rest_s

    def limit_speed(self, share: float) -> None:
        """A lamp has no speed."""


def honest(boot: int = 1, store: MemoryStore | None = None, *, is_simulated: bool = False) -> Shell:
    """Return a driver of a lamp that keeps every promise."""
    settings = Settings("fore", boot, ("floor_clear",), torque_nm_max=1e6, simulated=is_simulated)
    return party_of(Lamp(), settings, MemoryStore() if store is None else store)


@dataclass(slots=True)
class Tampered:
    """An honest party with somebody between it and the bus."""

    shell: Shell
    coming: Callable[["Tampered", Message], list[Message]]
    going: Callable[["Tampered", Message], Bodies]
    numbers: dict[int, int] = field(default_factory=dict)
    """Number inside -> number outside."""
    now_us: int = 0
    late_us: int = 0
    """How far its clock is behind, where it says when it spoke."""
    numbered: bool = True
    """What it says carries an ordinal."""
    heard: int = 0
    """Ordinal of the last command."""
    behind_us: int = 0
    """How far the clock that it goes by is behind; it counts whole milliseconds then."""
    takes_kept: bool = False
    """It does not look whether a message comes from the broker's memory."""

    def receive(self, message: Message, now_us: int, retained: bool = False) -> list[Message]:
        """Let what comes in through the tampering."""
        self.now_us = self._own_us(now_us)
        said = []
        for one in self.coming(self, message):
            said += self.shell.receive(one, self.now_us, retained and not self.takes_kept)
        return self._out(said)

    def advance(self, now_us: int) -> list[Message]:
        """Let time pass."""
        self.now_us = self._own_us(now_us)
        return self._out(self.shell.advance(self.now_us))

    def next_us(self) -> int:
        """Return when it must be advanced next."""
        step_us = 1_000 if self.behind_us else 0  # Not before its clock shows it.
        return (self.shell.next_us() or self.now_us + 100_000) + self.behind_us + step_us

    def _own_us(self, now_us: int) -> int:
        return (now_us - self.behind_us) // 1_000 * 1_000 if self.behind_us else now_us

    def restart(self) -> None:
        """Let its process die and start anew; only the ledger survives."""
        self.shell = self.shell.reborn(time.time_ns() // 1_000)

    def as_new(self, message: Message) -> Message:
        """Give a command a number that was never seen, and remember which it had."""
        body: Any = message.body
        inside = 10**15 + len(self.numbers) + 1
        if isinstance(body, MakeReady):
            self.numbers[inside] = body.number
            return replace(message, body=replace(body, number=inside))
        self.numbers[inside] = body.command
        return replace(message, body=replace(body, command=inside))

    def _out(self, messages: list[Message]) -> list[Message]:
        return [
            replace(
                message,
                body=self._outside(body),
                sent_us=message.sent_us - self.late_us,
                ordinal=message.ordinal if self.numbered else None,
            )
            for message in messages
            for body in self.going(self, message)
        ]

    def _outside(self, body: Body) -> Body:
        number = self.numbers.get(getattr(body, "command", 0))
        if number is not None:
            return replace(body, command=number)  # type: ignore[arg-type]  # it has one
        if isinstance(body, Ready) and body.number in self.numbers:
            return replace(body, number=self.numbers[body.number])
        if isinstance(body, PartyState) and body.running in self.numbers:
            return replace(body, running=self.numbers[body.running])
        return body


def as_it_comes(_: Tampered, message: Message) -> list[Message]:
    """Change nothing that comes in."""
    return [message]


def as_it_goes(_: Tampered, message: Message) -> Bodies:
    """Change nothing that goes out."""
    return [message.body]


def _without(*kinds: type[Any]) -> Callable[[Tampered, Message], Bodies]:
    return lambda _, message: [] if isinstance(message.body, kinds) else [message.body]


def _deaf_to(*kinds: type[Any], while_: str = "") -> Callable[[Tampered, Message], list[Message]]:
    def coming(party: Tampered, message: Message) -> list[Message]:
        is_deaf = isinstance(message.body, kinds) and while_ in ("", party.shell.state)
        return [] if is_deaf else [message]

    return coming


def _obeys_while_held(party: Tampered, message: Message) -> list[Message]:
    if isinstance(message.body, Do) and party.shell.state == "held":
        ready = replace(message, body=MakeReady(0))
        return [ready, message]
    return [message]


def _needs_no_lease(party: Tampered, message: Message) -> list[Message]:
    own = Lease(party.now_us + 60_000_000)
    sent = replace(message, body=own, sent_us=party.now_us, sequence=message.sequence)
    is_lease = isinstance(message.body, Lease)
    return [sent] if is_lease else [replace(sent, subject="all"), message]


def _again_and_again(party: Tampered, message: Message) -> list[Message]:
    return [party.as_new(message) if isinstance(message.body, Do) else message]


def _never_expires(party: Tampered, message: Message) -> list[Message]:
    return [replace(message, expires_us=party.now_us + 10_000_000)]


def _expires_if_told(party: Tampered, message: Message) -> list[Message]:
    if message.expires_us is None:
        return [replace(message, expires_us=party.now_us + 10_000_000)]
    return [message]


def _any_epoch(party: Tampered, message: Message) -> list[Message]:
    return [replace(message, epoch=max(message.epoch, party.shell.epoch))]


def _does_anything(_: Tampered, message: Message) -> list[Message]:
    body = message.body
    if isinstance(body, Do) and body.action not in KNOWN:
        return [replace(message, body=replace(body, action="change_tool"))]
    return [message]


def _no_cap(_: Tampered, message: Message) -> list[Message]:
    if isinstance(message.body, Lease):
        return [replace(message, body=replace(message.body, torque_nm_max=None))]
    return [message]


def _starts_when_armed(_: Tampered, message: Message) -> list[Message]:
    if isinstance(message.body, Do):
        return [replace(message, body=replace(message.body, barrier=None))]
    return [message]


def _says_armed_then_starts(party: Tampered, message: Message) -> Bodies:
    if isinstance(message.body, Accepted):
        command = message.body.command
        return [Armed(command), Started(command, party.now_us)]
    return [message.body]


def _release_moved(by_us: int) -> Callable[[Tampered, Message], list[Message]]:
    def coming(_: Tampered, message: Message) -> list[Message]:
        body = message.body
        if isinstance(body, Release):
            return [replace(message, body=replace(body, start_us=body.start_us + by_us))]
        return [message]

    return coming


def _lies_about_its_start(_: Tampered, message: Message) -> Bodies:
    body = message.body
    if isinstance(body, Started):
        return [replace(body, started_us=body.started_us - 500_000)]
    return [body]


def _any_start(party: Tampered, message: Message) -> list[Message]:
    body = message.body
    if isinstance(body, Release):
        start_us = max(body.start_us, party.now_us + 50_000)
        return [replace(message, body=replace(body, start_us=start_us))]
    return [message]


def _held_too_soon(party: Tampered, message: Message) -> Bodies:
    held = party.numbers.pop(-1, 0)
    return [Held("soon", held), message.body] if held else [message.body]


def _notes_the_hold(party: Tampered, message: Message) -> list[Message]:
    if isinstance(message.body, Hold) and party.shell.state == "running":
        party.numbers[-1] = message.body.number
    return [message]


def _freed_by_any(party: Tampered, message: Message) -> list[Message]:
    return [party.as_new(message) if isinstance(message.body, MakeReady) else message]


def _floor_always_good(_: Tampered, message: Message) -> list[Message]:
    if isinstance(message.body, FloorSignals):
        good = FloorSignals(dict.fromkeys(message.body.signals, True))
        return [replace(message, body=good)]
    return [message]


def _wrong_ready(_: Tampered, message: Message) -> Bodies:
    return [Ready(message.body.number + 1)] if isinstance(message.body, Ready) else [message.body]


def _bare_refusal(_: Tampered, message: Message) -> Bodies:
    body = message.body
    if isinstance(body, Refused) and body.reason == "unfit":
        return [replace(body, detail="")]
    return [body]


def _no_repeat(party: Tampered, message: Message) -> Bodies:
    body = message.body
    if isinstance(body, Finished):
        if body.command in party.numbers.values():
            return []
        party.numbers[-len(party.numbers) - 2] = body.command
    return [body]


def _drops_without_a_word(_: Tampered, message: Message) -> Bodies:
    body = message.body
    if isinstance(body, Refused) and body.reason == "never_begun":
        return [Refused(body.command, "unknown")]
    return [body]


def _slow_heart(party: Tampered, message: Message) -> Bodies:
    if isinstance(message.body, PartyState):
        last_us = party.numbers.get(-1, 0)
        if message.sent_us - last_us < 2_500_000:
            return []
        party.numbers[-1] = message.sent_us
    return [message.body]


def _restart_as(kind: str) -> Callable[[Tampered], None]:
    def restart(party: Tampered) -> None:
        now_us = time.time_ns() // 1_000
        boot = party.shell.settings.boot + 1
        party.shell = honest(boot) if kind == "forgets" else party.shell.reborn(now_us)
        if kind == "wakes ready":
            lease = Lease(now_us + 5_000_000)
            party.shell.receive(Message("coordinator", "all", 0, 10**9, now_us, lease), now_us)
            free = Message("coordinator", "fore", 0, 10**10, now_us, MakeReady(0), now_us + 10**6)
            party.shell.receive(free, now_us)

    return restart


def _believes_anybody(kinds: Any) -> Callable[[Tampered, Message], list[Message]]:
    def coming(_: Tampered, message: Message) -> list[Message]:
        is_taken = isinstance(message.body, kinds)
        return [replace(message, source="coordinator") if is_taken else message]

    return coming


def _takes_what_is_kept(party: Tampered, message: Message) -> list[Message]:
    party.takes_kept = True
    return [message]


def _clock_behind(party: Tampered, message: Message) -> Bodies:
    party.late_us = 3_600_000_000
    return [message.body]


def _clock_ahead(party: Tampered, message: Message) -> Bodies:
    party.late_us = -2_000_000
    return [message.body]


def _numbers_nothing(party: Tampered, message: Message) -> Bodies:
    party.numbered = False
    return [message.body]


def _notices_no_loss(_: Tampered, message: Message) -> list[Message]:
    return [replace(message, ordinal=None)]


def _holds_for_a_loss(party: Tampered, message: Message) -> list[Message]:
    if message.subject != "fore" or message.ordinal is None:
        return [message]
    is_lost = 0 < party.heard < message.ordinal - 1
    party.heard = message.ordinal
    return [replace(message, body=Hold("a message was lost")), message] if is_lost else [message]


BAD: dict[str, tuple[str, Any, Any]] = {
    "never tells how it stands": ("ARM01", as_it_comes, _without(PartyState)),
    "heart beats too slowly": ("ARM01", as_it_comes, _slow_heart),
    "obeys while held": ("ARM02", _obeys_while_held, as_it_goes),
    "answers a make-ready under another number": ("ARM03", as_it_comes, _wrong_ready),
    "needs no lease": ("ARM04", _needs_no_lease, as_it_goes),
    "never tells an end": ("ARM05", as_it_comes, _without(Finished)),
    "does a copy again": ("ARM06", _again_and_again, as_it_goes),
    "does not say again what became of a copy": ("ARM06", as_it_comes, _no_repeat),
    "obeys an older number": ("ARM07", _again_and_again, as_it_goes),
    "knows no expiry": ("ARM08", _never_expires, as_it_goes),
    "obeys what carries no expiry": ("ARM08", _expires_if_told, as_it_goes),
    "obeys an older coordinator": ("ARM09", _any_epoch, as_it_goes),
    "does something else than it was told": ("ARM10", _does_anything, as_it_goes),
    "keeps no cap": ("ARM11", _no_cap, as_it_goes),
    "does not say why it refuses a torque": ("ARM11", as_it_comes, _bare_refusal),
    "says nothing when asked": ("ARM12", _deaf_to(Ask), as_it_goes),
    "starts when it is armed": ("ARM13", _starts_when_armed, _says_armed_then_starts),
    "starts late": ("ARM13", _release_moved(1_000_000), as_it_goes),
    "lies about its start": ("ARM13", as_it_comes, _lies_about_its_start),
    "cannot be disarmed": ("ARM14", _deaf_to(Disarm), as_it_goes),
    "starts whenever it is released": ("ARM15", _any_start, as_it_goes),
    "does not hold": ("ARM16", _deaf_to(Hold, while_="running"), as_it_goes),
    "says held while it moves": ("ARM16", _notes_the_hold, _held_too_soon),
    "is freed by any make-ready": ("ARM17", _freed_by_any, as_it_goes),
    "moves on without a lease": ("ARM18", _needs_no_lease, as_it_goes),
    "does not watch the floor": ("ARM19", _floor_always_good, as_it_goes),
    "shows no work": ("ARM20", as_it_comes, _without(Progressed)),
    "obeys a stranger's command": ("ARM21", _believes_anybody(Do), as_it_goes),
    "is freed by a stranger": ("ARM21", _believes_anybody(MakeReady), as_it_goes),
    "has a clock that is an hour behind": ("ARM24", as_it_comes, _clock_behind),
    "has a clock that is ahead": ("ARM24", as_it_comes, _clock_ahead),
    "numbers nothing": ("ARM25", as_it_comes, _numbers_nothing),
    "leaves numbers out": ("ARM25", as_it_comes, _without(Accepted)),
    "notices no loss": ("ARM26", _notices_no_loss, as_it_goes),
    "holds because of a loss": ("ARM26", _holds_for_a_loss, as_it_goes),
    "does not say how it stands": ("ARM27", _deaf_to(AskState), as_it_goes),
    "knows nothing of what it dropped": ("ARM28", as_it_comes, _drops_without_a_word),
}
"""Name -> (line that must fail, tampering with what comes, tampering with what goes)."""
BAD_RESTARTS: dict[str, tuple[str, Callable[[Tampered], None], Any]] = {
    "forgets over a restart": ("ARM22", _restart_as("forgets"), as_it_comes),
    "wakes up ready": ("ARM22", _restart_as("wakes ready"), as_it_comes),
    "obeys the broker's memory": ("ARM23", Tampered.restart, _takes_what_is_kept),
}
"""Name -> (line that must fail, how it starts anew, tampering with what comes)."""
