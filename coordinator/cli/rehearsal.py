"""Run a sequence against the simulated arms in virtual time, on the core that also runs real ones.

Units: ``*_us`` whole microseconds since the run began.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from coordinator.cli.simulated import Simulation, to_causes
from coordinator.core.effects import Effect, Notify, RaisePrompt
from coordinator.core.events import Act, Event
from coordinator.core.plan import Plan
from coordinator.core.state import State
from coordinator.live.coordinator import Coordinator, Listener, Observers, Proof
from coordinator.live.operator import UNATTENDED, OperatedCoordinator, OperatorScript
from coordinator.sequence import Case, Loaded, People
from sim_arms.activities import Bench, HoistBench
from sim_arms.arm import Arm, SteelWorkbench
from sim_arms.floor import Floor
from sim_arms.network import Network
from sim_arms.trace import TraceWriter
from sim_arms.world import World

ENDED = ("complete", "stopped", "aborted")
REST_US = 30_000_000
"""Chosen: a run that nobody can move on is watched this long before it counts as ended."""
START_US_MAX = 30 * 60 * 1_000_000
"""Chosen: a start that is refused this long is refused for good."""
TIME_US_MAX = 12 * 3600 * 1_000_000
"""Chosen: half a day of virtual time is beyond every sequence shipped."""
UNATTENDED_MAX = 20
"""Chosen: a script may restart a run that was held for want of an answer, but not for ever."""


@dataclass(slots=True)
class Rehearsal:
    """What came out of a run in virtual time."""

    phase: str = "idle"
    reason: str = ""
    time_us: int = 0
    deliveries: int = 0
    trace_sha256: str = ""
    proofs: list[Proof] = field(default_factory=list)
    notices: list[tuple[int, Notify]] = field(default_factory=list)
    unanswered: list[str] = field(default_factory=list)
    """Names of the prompts and points that nobody answered."""
    arms: list[Bench] = field(default_factory=list)
    hoist: HoistBench | None = None
    """What the arms and the hoist went through, for how near they came."""


@dataclass(frozen=True, slots=True)
class Rehearsed:
    """A rehearsal with what led to it."""

    path: Path
    joint: Path | None
    """A joint instead of the one that the sequence names."""
    loaded: Loaded
    result: Rehearsal
    events: tuple[Event, ...]
    seed: int


def rehearse(
    loaded: Loaded,
    *,
    seed: int = 1,
    case: Case | None = None,
    people: People | None = None,
    write_line: Callable[[str], object] | None = None,
    listeners: Sequence[Listener] = (),
) -> Rehearsal:
    """Run a sequence to its end in virtual time.

    Args:
        loaded: The sequence.
        seed: Of everything random in the simulated world.
        case: What goes wrong, and what people do about it.
        people: Answers and acts, instead of those of the case.
        write_line: Takes the lines of the trace; without it no trace is kept.
        listeners: Told of every decision.
    """
    asked = people or case
    simulation = Simulation(loaded, seed, to_causes(case.causes) if case else ())
    result = Rehearsal()
    plan = loaded.plan
    coordinator = Coordinator(
        plan,
        observers=Observers(
            records=result.proofs.append, listeners=(_Noter(result, plan), *listeners)
        ),
    )
    script = OperatorScript(plan, asked.answers if asked else (), asked.acts if asked else ())
    operated = OperatedCoordinator(coordinator, script)
    trace = None if write_line is None else TraceWriter(write_line)
    parties = [simulation.party(name) for name in simulation.names]
    _keep_benches(result, parties)
    world = World(
        parties,
        operated,
        Network(seed, simulation.causes),
        causes=simulation.causes,
        traced=trace,
    )
    ended = _Ended(coordinator, script, lambda: world.now_us)
    world.run(ended, TIME_US_MAX)
    for _ in range(UNATTENDED_MAX):
        if coordinator.state.phase not in ("running", "pausing"):
            break
        _note_unanswered(result, plan, coordinator.state)
        # Nobody answers: no default moves anything, so the run is held for whoever comes next.
        world.post(coordinator.act(Act.HOLD, UNATTENDED, world.now_us), coordinator.name)
        world.run(_Ended(coordinator, script, lambda: world.now_us), TIME_US_MAX)
    result.phase, result.reason = coordinator.state.phase, coordinator.state.reason
    if result.phase == "idle":
        result.reason = _why_not_started(coordinator.state, plan, result.notices)
    result.time_us, result.deliveries = world.now_us, world.delivered
    result.trace_sha256 = trace.digest() if trace else ""
    return result


def _note_unanswered(result: Rehearsal, plan: Plan, state: State) -> None:
    """Keep the names of the prompts that nobody answers; a hold withdraws them."""
    names = [plan.prompts[one.prompt].name for one in state.prompts if one.prompt >= 0]
    result.unanswered = list(dict.fromkeys([*result.unanswered, *names]))


def _keep_benches(result: Rehearsal, parties: Sequence[Arm | Floor]) -> None:
    """Keep what the parties work on; it outlives a process that dies and starts anew."""
    for party in parties:
        if isinstance(party, Floor):
            result.hoist = party.bench
        elif isinstance(party.bench, SteelWorkbench) and isinstance(party.bench.bench, Bench):
            result.arms.append(party.bench.bench)


def _why_not_started(state: State, plan: Plan, notices: Sequence[tuple[int, Notify]]) -> str:
    parties = zip(plan.parties, state.lanes, strict=True)
    absent = [party.name for party, lane in parties if not lane.online]
    if absent:
        return f"never started: {', '.join(absent)} not on the bus"
    refusals = [notice.text for _, notice in notices if notice.kind == "act_refused"]
    return f"never started: {refusals[-1] if refusals else 'nobody starts it'}"


class _Noter:
    """Keeps what a person should be able to read afterwards."""

    def __init__(self, result: Rehearsal, plan: Plan) -> None:
        self._result = result
        self._plan = plan

    def __call__(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        for effect in effects:
            if isinstance(effect, RaisePrompt):
                self._result.notices.append((event.at_us, self._asked(effect)))
            elif isinstance(effect, Notify) and not self._is_repeated(effect):
                self._result.notices.append((event.at_us, effect))

    def _is_repeated(self, notice: Notify) -> bool:
        """Whether a start is refused once more for the same reason."""
        notices = self._result.notices
        return notice.kind == "act_refused" and bool(notices) and notices[-1][1] == notice

    def _asked(self, effect: RaisePrompt) -> Notify:
        node = self._plan.nodes[effect.node].name
        asked = self._plan.prompts[effect.prompt].text if effect.prompt >= 0 else "outcome unknown"
        options = ", ".join(effect.options)
        text = f"prompt {effect.number}, {node}: {asked} ({options})"
        return Notify("alarm", "prompt", text, effect.party, effect.node)


class _Ended:
    """Tells when nothing more can come: an end state, or rest that nobody will change."""

    def __init__(
        self, coordinator: Coordinator, script: OperatorScript, now_us: Callable[[], int]
    ) -> None:
        self._coordinator = coordinator
        self._script = script
        self._now_us = now_us
        self._resting = ("", 0)

    def __call__(self) -> bool:
        state = self._coordinator.state
        if state.phase in ENDED:
            return True
        if state.phase == "idle" and self._now_us() > START_US_MAX:
            return True
        waits = state.phase != "running" or bool(state.prompts)
        if not waits or self._script.next_us() is not None:
            self._resting = ("", 0)
            return False
        if state.phase == "running" and any(lane.command for lane in state.lanes):
            return False
        if self._resting[0] != state.phase:
            self._resting = (state.phase, self._now_us())
        return self._now_us() - self._resting[1] > REST_US
