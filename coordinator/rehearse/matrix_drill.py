"""Drill the interlocks of a cell on the simulated parties: make each active, and ask for motion.

Nothing is judged here; the events go into journals, and those are judged as any run's.

Units: ``*_us`` whole microseconds of virtual time.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import cast

from coordinator.commissioning.matrix import FALSE, SILENT, excepts
from coordinator.core.effects import Effect
from coordinator.core.events import Act, Event
from coordinator.core.plan import InterlockKind, Plan
from coordinator.core.state import ENDED, State
from coordinator.live.coordinator import Coordinator, Observers
from coordinator.live.operator import OperatedCoordinator, OperatorScript
from coordinator.rehearse.simulated import Simulation
from coordinator.sequence import Loaded
from coordinator.wire.messages import FloorSignals, Message
from coordinator.wire.topics import FLOOR
from sim_arms.floor import Floor
from sim_arms.network import Network
from sim_arms.party import SimulatedParty
from sim_arms.world import World

S = 1_000_000
PATIENCE_US = 120 * S
"""Chosen: what has not come by then in virtual time will not come."""
WHOLE_US_MAX = 12 * 3600 * S
WHO = "drill"
Condition = Callable[[], bool]


class DrilledFloor(Floor):
    """A floor of which single signals can fall silent."""

    muted: tuple[str, ...] = ()

    def _tell(self, now_us: int) -> list[Message]:
        return [self._without(one) for one in super()._tell(now_us)]

    def _without(self, message: Message) -> Message:
        if not isinstance(message.body, FloorSignals):
            return message
        left = {name: one for name, one in message.body.signals.items() if name not in self.muted}
        return replace(message, body=FloorSignals(left))


@dataclass(frozen=True, slots=True)
class Wait:
    """Until something is so, and some time longer."""

    until: Condition
    then_us: int = 0


class Drill:
    """A cell in virtual time with a person who follows a list."""

    def __init__(
        self, loaded: Loaded, seed: int = 1, *, starts: bool = False, by: Plan | None = None
    ) -> None:
        """Set up the cell; `by` says what is to be tried, where that is another plan."""
        self.events: list[Event] = []
        self._plan = loaded.plan if by is None else by
        simulation = Simulation(loaded, seed)
        floor = DrilledFloor.on(
            simulation.floor().hoist.settings,
            simulation.steel(),
            (),
            seed,
            signals=dict.fromkeys(loaded.cell.signals, True),
        )
        self._floor = cast(DrilledFloor, floor)
        self._coordinator = Coordinator(loaded.plan, observers=Observers(None, None, (self._note,)))
        script = OperatorScript(loaded.plan, starts=starts)
        arms = [simulation.arm(side) for side in loaded.cell.sides]
        operated = OperatedCoordinator(self._coordinator, script)
        parties: list[SimulatedParty] = [*arms, floor]
        self._world = World(parties, operated, Network(seed))

    @property
    def state(self) -> State:
        """What the coordinator has decided so far."""
        return self._coordinator.state

    def run(self, steps: Iterator[Wait], time_us_max: int = WHOLE_US_MAX) -> None:
        """Follow a list to its end, or until something on it never comes."""
        waiting = _Waiting(steps, lambda: self._world.now_us)
        self._world.run(waiting, time_us_max)

    def _note(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        self.events.append(event)

    def one_interlock(self, index: int, cause: str) -> Iterator[Wait]:
        """Make an interlock active before the start, then under way; ask for motion each time."""
        interlock = self._plan.interlocks[index]
        signal = self._plan.signals[interlock.signal]
        bad_us = 2 * S + (signal.max_age_us if cause == SILENT else 0)
        yield Wait(self._is_ready, 2 * S)
        self._make_bad(signal.name, cause)
        yield Wait(_always, bad_us)
        self._act(Act.START)
        yield Wait(_always, 3 * S)
        self._make_good(signal.name)
        yield Wait(_always, 2 * S)
        self._act(Act.START if self.state.phase == "idle" else Act.RESTART)
        yield Wait(lambda: self._moves(index), S)
        self._make_bad(signal.name, cause)
        yield Wait(_always, bad_us)
        if interlock.kind is InterlockKind.PERMISSIVE:
            yield Wait(_always, 2 * S)
        else:
            yield Wait(self._is_held, S)
            self._act(Act.RESTART)
            yield Wait(_always, 3 * S)
            yield Wait(self._is_held, S)
        self._make_good(signal.name)
        yield Wait(_always, 2 * S)
        yield from self._start_over()

    def _start_over(self) -> Iterator[Wait]:
        """Restart without a reset, and with one where that was refused."""
        for act in (Act.RESTART, Act.RESET, Act.RESTART):
            if self._is_held():
                self._act(act)
                yield Wait(_always, 2 * S)

    def exceptions(self) -> Iterator[Wait]:
        """Run the whole sequence; make an interlock active whenever only excepted steps move."""
        done: list[tuple[int, str]] = []
        plan = self._plan
        while True:
            yield Wait(lambda: self._is_over() or self._excepted(done) is not None)
            found = self._excepted(done)
            if found is None:
                return
            done.append(found)
            name = plan.signals[plan.interlocks[found[0]].signal].name
            self._make_bad(name, FALSE)
            yield Wait(_always, S)
            self._make_good(name)
            yield Wait(_always, S)

    def _is_over(self) -> bool:
        return self.state.phase in (*ENDED, "held")

    def _excepted(self, done: list[tuple[int, str]]) -> tuple[int, str] | None:
        """Return an interlock, now good, and an action that it lets go on, if it does so alone."""
        plan = self._plan
        if self._is_over():
            return None
        nodes = [one.node for one in self.state.lanes if one.command and one.node >= 0]
        for index, interlock in enumerate(plan.interlocks):
            is_good = self.state.signals[interlock.signal].value is True
            if is_good and all(excepts(plan, node, index) for node in nodes):
                moves = [plan.nodes[node].move for node in nodes]
                names = [one.action for one in moves if one is not None]
                left = [(index, name) for name in names if (index, name) not in done]
                if left:
                    return left[0]
        return None

    def _is_ready(self) -> bool:
        known = all(one.value is True for one in self.state.signals)
        return known and all(lane.party.online for lane in self.state.lanes)

    def _is_held(self) -> bool:
        return self.state.phase == "held"

    def _moves(self, index: int) -> bool:
        """Tell whether an arm is at a step that nothing excepts."""
        plan = self._plan
        return self.state.phase == "running" and any(
            lane.command
            and lane.phase == "running"
            and plan.parties[party].is_arm
            and not excepts(plan, lane.node, index)
            for party, lane in enumerate(self.state.lanes)
        )

    def _act(self, act: Act) -> None:
        messages = self._coordinator.act(act, WHO, self._world.now_us)
        self._world.post(messages, self._coordinator.name)

    def _make_bad(self, signal: str, cause: str) -> None:
        if cause == SILENT:
            self._floor.muted = (signal,)
            return
        value = False if cause == FALSE else None
        self._world.post(self._floor.set_signal(signal, value, self._world.now_us), FLOOR)

    def _make_good(self, signal: str) -> None:
        self._floor.muted = ()
        self._world.post(self._floor.set_signal(signal, True, self._world.now_us), FLOOR)


class _Waiting:
    """Asked after everything that happens; goes on with the list as soon as it may."""

    def __init__(self, steps: Iterator[Wait], now_us: Callable[[], int]) -> None:
        self._steps = steps
        self._now_us = now_us
        self._wait: Wait | None = None
        self._since_us = 0
        self._true_us: int | None = None

    def __call__(self) -> bool:
        """Tell whether the list is at its end."""
        while True:
            if self._wait is None:
                self._wait = next(self._steps, None)
                self._since_us, self._true_us = self._now_us(), None
                if self._wait is None:
                    return True
            now_us = self._now_us()
            if self._true_us is None and self._wait.until():
                self._true_us = now_us
            if self._true_us is None:
                return now_us - self._since_us > WHOLE_US_MAX
            if now_us - self._true_us < self._wait.then_us:
                return False
            self._wait = None


def _always() -> bool:
    return True
