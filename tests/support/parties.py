"""Parties with a small bench, and the messages that tests say to them."""

from collections.abc import Mapping, Sequence
from random import Random

from coordinator.wire.messages import (
    Body,
    Do,
    FloorSignals,
    Lease,
    MakeReady,
    Message,
    PartyState,
    Progressed,
    SimulatedFacts,
    Value,
)
from sim_arms.activities.bench import Unfit
from sim_arms.activity import Activity, ActivityFault, Done, HoldAsked, Wait
from sim_arms.causes import Cause
from sim_arms.ledger import Ledger, LedgerStore, MemoryStore
from sim_arms.shell import Shell
from sim_arms.workbench import Settings

SECOND_US = 1_000_000


class SmallBench:
    """A bench whose actions take a second each; it counts what truly moved."""

    def __init__(self, fact: str = "moved") -> None:
        self.tool = ""
        self._fact = fact
        self.moved = 0
        """How many actions took their first step."""
        self.told_us: list[int] = []
        self.applied: dict[str, Value] = {}
        self._changes: dict[str, Value] = {}

    def begin(self, action: str, parameters: Mapping[str, Value], on_hold: str) -> Activity:
        """Know `move`, `pull` (feels torque), `fail` and `long`; the rest is unfit."""
        if action == "move":
            return self._move(1.0)
        if action == "long":
            return self._move(30.0)
        if action == "pull":
            return self._pull()
        if action == "fail":
            return self._fail()
        raise Unfit(f"no action '{action}'")

    def tell_time(self, now_us: int) -> None:
        """Note when a step was taken."""
        self.told_us.append(now_us)

    def take_changes(self) -> Mapping[str, Value]:
        """Hand out what changed."""
        changes, self._changes = self._changes, {}
        return changes

    def apply(self, facts: Mapping[str, Value]) -> None:
        """Take facts."""
        self.applied.update(facts)

    def standing(self) -> Mapping[str, Value]:
        """Nothing here has a standing."""
        return {}

    def stand(self, standing: Mapping[str, Value]) -> None:
        """Nothing here has a standing."""

    def add_causes(self, causes: Sequence[Cause]) -> None:
        """Nothing here goes wrong but what is asked for."""

    def limit_speed(self, share: float) -> None:
        """Keep what it was told, to be read."""
        self.speed_share = share

    def reseed(self, seed: int | str) -> None:
        """Nothing here comes by chance."""

    def wake(self) -> None:
        """Nothing here lives in the process alone."""

    def _move(self, duration_s: float) -> Activity:
        self.moved += 1
        try:
            yield Wait(duration_s)
        except HoldAsked as hold:
            yield Wait(0.25)
            if hold.on_hold == "finish":
                return Done({"late": True})
            hold.evidence = {"way": 0.5}
            raise
        self._changes[self._fact] = self.moved
        return Done({"way": 1.0})

    def _pull(self) -> Activity:
        self.moved += 1
        for torque_nm in (100.0, 200.0):
            yield Wait(0.5, torque_nm=torque_nm)
        return Done({"torque_nm": 200.0})

    def _fail(self) -> Activity:
        self.moved += 1
        yield Wait(0.5)
        raise ActivityFault("reaction_lost", {"torque_nm": 3.0})


class Driver:
    """Says messages to one shell at chosen times and keeps what it answers."""

    def __init__(
        self,
        *,
        watched: tuple[str, ...] = (),
        store: LedgerStore | None = None,
        latency_us_max: int = 8_000,
    ) -> None:
        self.bench = SmallBench()
        self.store = MemoryStore() if store is None else store
        settings = Settings(
            "fore", watched=watched, torque_nm_max=8_000.0, latency_us_max=latency_us_max
        )
        self.shell = Shell(settings, self.bench, Ledger(self.store), Random(1))
        self.heard: list[Message] = []
        self._sequence = 0

    @property
    def state(self) -> str:
        """The shell's state."""
        return self.shell.state

    def say(
        self,
        body: Body,
        now_us: int = 0,
        *,
        epoch: int = 1,
        sent_us: int | None = None,
        expires_us: int | None = 1 << 50,
        retained: bool = False,
    ) -> list[Body]:
        """Deliver one body from the coordinator and return the answers but for heartbeats."""
        self._sequence += 1
        sent_us = now_us if sent_us is None else sent_us
        source = "floor" if isinstance(body, FloorSignals) else "coordinator"
        message = Message(source, "fore", self._sequence, epoch, sent_us, body, expires_us)
        return self._keep(self.shell.receive(message, now_us, retained))

    def wake_up(self, until_us: int = 600 * SECOND_US) -> None:
        """Give a lease, and make ready."""
        self.say(Lease(until_us))
        self.say(MakeReady())

    def do(
        self,
        command: int,
        action: str = "move",
        now_us: int = 0,
        *,
        barrier: str | None = None,
        **parameters: Value,
    ) -> list[Body]:
        """Deliver one `Do`."""
        return self.say(Do(command, "step", action, parameters, barrier), now_us)

    def pass_time(self, until_us: int) -> list[Body]:
        """Advance from due time to due time, as the world does."""
        bodies: list[Body] = []
        while (due_us := self.shell.next_us()) is not None and due_us <= until_us:
            bodies += self._keep(self.shell.advance(due_us))
        return bodies

    def restart(self, now_us: int) -> None:
        """Let the process die and start anew."""
        self.shell = self.shell.reborn(now_us)

    def _keep(self, messages: list[Message]) -> list[Body]:
        self.heard += messages
        return [
            message.body
            for message in messages
            if not isinstance(message.body, PartyState | SimulatedFacts)
        ]


def without_progress(bodies: list[Body]) -> list[Body]:
    """Leave out what is only said on the way."""
    return [body for body in bodies if not isinstance(body, Progressed)]
