"""Run a sequence against the simulated arms in virtual time, on the core that also runs real ones.

Units: ``*_us`` whole microseconds since the run began.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from coordinator.core.effects import Effect, Notify, RaisePrompt, WriteRecord
from coordinator.core.events import Act, Event
from coordinator.core.plan import Mode, Plan
from coordinator.core.state import ENDED, OpenPrompt, State
from coordinator.live.coordinator import Coordinator, Listener, Observers, Proof
from coordinator.live.explain import waiting_for_step
from coordinator.live.operator import UNATTENDED, OperatedCoordinator, OperatorScript
from coordinator.live.prompt_words import asked_words, evidence_words
from coordinator.rehearse.look_ahead import ConsideredScript, LookAhead, Outlook
from coordinator.rehearse.simulated import Simulation, to_causes
from coordinator.sequence import Case, Loaded, People
from sim_arms.activities import Bench, HoistBench
from sim_arms.arm import Arm, SteelWorkbench
from sim_arms.floor import Floor
from sim_arms.network import Network
from sim_arms.trace import TraceWriter
from sim_arms.world import World

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
    stands: bool = False
    """Nothing came any more, and nobody was asked: somebody had to hold what ran."""
    unanswered: list[str] = field(default_factory=list)
    """Names of the prompts and points that nobody answered."""
    unstepped: list[str] = field(default_factory=list)
    """The lanes that stood waiting for a person's word for their next step, and got none."""
    arms: list[Bench] = field(default_factory=list)
    hoist: HoistBench | None = None
    """What the arms and the hoist went through, for how near they came."""
    foreseen: list[tuple[int, OpenPrompt, tuple[Outlook, ...]]] = field(default_factory=list)
    """What each answer to each prompt would lead to, if that was asked for."""


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
    look_ahead: int = 0,
    only: Callable[[OpenPrompt], bool] | None = None,
    mode: Mode = Mode.AUTOMATIC,
) -> Rehearsal:
    """Run a sequence to its end in virtual time.

    Args:
        loaded: The sequence.
        seed: Of everything random in the simulated world.
        case: What goes wrong, and what people do about it.
        people: Answers and acts, instead of those of the case.
        write_line: Takes the lines of the trace; without it no trace is kept.
        listeners: Told of every decision.
        look_ahead: How often each answer to a prompt is tried beforehand, in copies; 0 for never.
        mode: Set before the start; steps begin only where `people` or the case allow them.
        only: Which prompts are looked at; all without it. The run ends after the first of them.
    """
    asked = people or case
    simulation = Simulation(loaded, seed, to_causes(case.causes) if case else ())
    result = Rehearsal()
    plan = loaded.plan
    heard: tuple[Listener, ...] = (_Noter(result, plan), *listeners)
    coordinator = Coordinator(plan, observers=Observers(None, result.proofs.append, heard))
    said = asked or People()
    script = ConsideredScript(plan, said.answers, said.acts, mode=mode, steps=said.steps)
    operated = OperatedCoordinator(coordinator, script)
    trace = None if write_line is None else TraceWriter(write_line)
    parties = [simulation.party(name) for name in simulation.names]
    _keep_benches(result, parties)
    network, causes = Network(seed, simulation.causes), simulation.causes
    world = World(parties, operated, network, causes=causes, traced=trace)
    hands = _Hands(plan, world, result)
    look = LookAhead(coordinator, look_ahead, seed, only)
    script.look = look if look_ahead else None

    def run() -> None:
        rest = _Ended(coordinator, script, lambda: world.now_us)
        with look.watching(world, hands.after(rest)) as until:
            world.run(until, TIME_US_MAX)
        result.stands |= rest.is_still

    run()
    for _ in range(UNATTENDED_MAX):
        if coordinator.state.phase not in ("running", "pausing") or look.is_over:
            break
        _note_unanswered(result, plan, coordinator.state)
        waiting = waiting_for_step(plan, coordinator.state)
        result.unstepped = [plan.parties[lane].name for lane in waiting]
        # Nobody answers: no default moves anything, so the run is held for whoever comes next.
        world.post(coordinator.act(Act.HOLD, UNATTENDED, world.now_us), coordinator.name)
        run()
    result.trace_sha256 = trace.digest() if trace else ""
    result.foreseen = look.found
    return _concluded(result, coordinator, world)


def _concluded(result: Rehearsal, coordinator: Coordinator, world: World) -> Rehearsal:
    state = coordinator.state
    result.phase, result.reason = state.phase, state.reason
    if result.phase == "idle":
        result.reason = _why_not_started(state, coordinator.plan, result.notices)
    result.time_us, result.deliveries = world.now_us, world.delivered
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
    absent = [party.name for party, lane in parties if not lane.party.online]
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
        asked = asked_words(self._plan, effect.prompt)
        options = ", ".join(effect.options)
        measured = evidence_words(effect.evidence)
        text = f"prompt {effect.number}, {node}: {asked} ({options})"
        text += f"; measured: {measured}" if measured else ""
        return Notify("alarm", "prompt", text, effect.party, effect.node)


class _Hands:
    """Does in the simulated steel what people say that they have done by hand."""

    def __init__(self, plan: Plan, world: World, result: Rehearsal) -> None:
        self._plan = plan
        self._world = world
        self._result = result
        self._seen = 0

    def after(self, ended: Callable[[], bool]) -> Callable[[], bool]:
        """Return what does the work, and then asks whether the run has ended."""

        def work() -> bool:
            for proof in self._result.proofs[self._seen :]:
                if proof.effect.outcome == "by_hand":
                    self._do(proof.effect)
            self._seen = len(self._result.proofs)
            return ended()

        return work

    def _do(self, effect: WriteRecord) -> None:
        record = self._plan.nodes[effect.node].record
        side = self._plan.parties[effect.party].name
        arm = next(one for one in self._world.parties if one.name == side)
        if record is not None and isinstance(arm, Arm):
            torque_nm = dict(effect.results).get("torque_nm", 0.0)
            now_us = self._world.now_us
            messages = arm.work_by_hand(record.kind, record.bolt, torque_nm, now_us)
            self._world.post(messages, side)


class _Ended:
    """Tells when nothing more can come: an end state, or rest that nobody will change."""

    def __init__(
        self, coordinator: Coordinator, script: OperatorScript, now_us: Callable[[], int]
    ) -> None:
        self._coordinator = coordinator
        self._script = script
        self._now_us = now_us
        self.is_still = False
        """Nothing comes any more, and nobody is asked."""
        self._resting = ("", 0)

    def __call__(self) -> bool:
        state = self._coordinator.state
        if state.phase in ENDED:
            return True
        if state.phase == "idle" and self._now_us() > START_US_MAX:
            return True
        if self._script.next_us() is not None:
            self._resting = ("", 0)
            return False
        if state.phase in ("running", "pausing") and not state.prompts:
            is_unallowed = bool(waiting_for_step(self._coordinator.plan, state))
            is_resting = is_unallowed or not _is_due(state)
            is_over = self._rests_us(state.phase if is_resting else "") > REST_US
            self.is_still = is_over and not is_unallowed
            return is_over
        if state.phase == "running" and any(lane.command for lane in state.lanes):
            return False
        return self._rests_us(state.phase) > REST_US

    def _rests_us(self, phase: str) -> int:
        """Return for how long it has rested in this phase; nothing if there is none."""
        if self._resting[0] != phase or not phase:
            self._resting = (phase, self._now_us())
        return self._now_us() - self._resting[1]


def _is_due(state: State) -> bool:
    """Tell whether time alone will bring anything on: everything at work has its deadline."""
    lanes = any(
        lane.watch.timeout_us or lane.watch.timer_us or lane.rest.hold_us for lane in state.lanes
    )
    return lanes or any(meeting.deadline_us for meeting in state.meetings)
