"""A virtual cell with two small arms and a coordinator that follows a list."""

from collections.abc import Sequence
from random import Random

from coordinator.wire.messages import Ask, Body, Do, Finished, Lease, MakeReady, Message
from sim_arms.causes import Cause
from sim_arms.ledger import Ledger, MemoryStore
from sim_arms.network import Network
from sim_arms.shell import Shell
from sim_arms.workbench import Settings
from sim_arms.world import Traced, World
from tests.support.parties import SECOND_US, SmallBench

RENEW_US = 400_000
ASK_US = 700_000


class ListedCoordinator:
    """Gives each party the same number of moves, one after another; asks and repeats in silence."""

    name = "coordinator"

    def __init__(self, parties: Sequence[str], moves: int, action: str = "move") -> None:
        self.left = dict.fromkeys(parties, moves)
        self.heard: list[tuple[int, Message]] = []
        self.sent_us: dict[str, int] = {}
        self._moves = moves
        self._action = action
        self._sequence = 0
        self._lease_us = 0

    def receive(self, message: Message, now_us: int, retained: bool = False) -> list[Message]:
        """Go on when a move is finished."""
        self.heard.append((now_us, message))
        body, name = message.body, message.source
        if name not in self.left or type(body).__name__ in ("PartyState", "Progressed"):
            return []
        command = self._moves - self.left[name] + 1
        if isinstance(body, Finished) and body.command == command and self.left[name]:
            self.left[name] -= 1
            return [self._next(name, now_us)] if self.left[name] else []
        unknown = type(body).__name__ == "Refused" and getattr(body, "reason", "") == "unknown"
        ready = type(body).__name__ == "Ready"
        return [self._next(name, now_us)] if (unknown or ready) and self.left[name] else []

    def advance(self, now_us: int) -> list[Message]:
        """Renew the lease; ask who was silent for too long."""
        messages: list[Message] = []
        if now_us >= self._lease_us:
            self._lease_us = now_us + RENEW_US
            messages.append(self._say("all", Lease(now_us + SECOND_US), now_us))
        for name in self.left:
            if name not in self.sent_us:
                self.sent_us[name] = now_us
                messages.append(self._say(name, MakeReady(), now_us))
            elif self.left[name] and now_us >= self.sent_us[name] + ASK_US:
                self.sent_us[name] = now_us
                command = self._moves - self.left[name] + 1
                messages.append(self._say(name, MakeReady(), now_us))
                messages.append(self._say(name, Ask(command), now_us))
        return messages

    def next_us(self) -> int | None:
        """Return when something is due."""
        asks = [self.sent_us.get(n, 0) + ASK_US for n, left in self.left.items() if left]
        return min([self._lease_us, *asks])

    def is_done(self) -> bool:
        """Tell whether every move is finished."""
        return not any(self.left.values())

    def _next(self, name: str, now_us: int) -> Message:
        self.sent_us[name] = now_us
        command = self._moves - self.left[name] + 1
        return self._say(name, Do(command, "step", self._action), now_us)

    def _say(self, subject: str, body: Body, now_us: int) -> Message:
        self._sequence += 1
        expires_us = now_us + 2 * SECOND_US
        return Message("coordinator", subject, self._sequence, 1, now_us, body, expires_us)


def small_world(
    seed: int,
    causes: Sequence[Cause] = (),
    *,
    moves: int = 5,
    action: str = "move",
    traced: Traced | None = None,
) -> tuple[World, ListedCoordinator, dict[str, SmallBench]]:
    """Build a cell of two arms."""
    benches = {name: SmallBench(f"{name}.moved") for name in ("fore", "aft")}
    parties = [
        Shell(Settings(name), bench, Ledger(MemoryStore()), Random(f"{seed}:{name}"))
        for name, bench in benches.items()
    ]
    coordinator = ListedCoordinator(list(benches), moves, action)
    world = World(parties, coordinator, Network(seed, causes), causes=causes, traced=traced)
    return world, coordinator, benches
