"""Build the stage of a campaign: the real core, the simulated arms, and a judge who looks on.

Units: ``*_us`` whole microseconds since the run began.
Invariants: N5, a copy and its original, told the same, give the same deliveries.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from os.path import relpath
from pathlib import Path
from tempfile import TemporaryDirectory

import coordinator
import sim_arms
from coordinator.campaign.ground import Ground
from coordinator.campaign.judge import Judge
from coordinator.campaign.oracles import ORACLES
from coordinator.campaign.vocabulary import Kind, Vocabulary
from coordinator.core.effects import Effect
from coordinator.core.events import Act, Event
from coordinator.core.prompts import BUILT_IN
from coordinator.core.state import State
from coordinator.live.coordinator import Coordinator, Proof
from coordinator.live.hurry import hurried
from coordinator.live.operator import UNATTENDED, OperatorScript
from coordinator.live.reviving import RevivingCoordinator
from coordinator.rehearse.mates import releases
from coordinator.rehearse.simulated import Simulation, to_causes
from coordinator.rehearse.spoiled import SpoiledCoordinator
from coordinator.sequence import Case, Found, Loaded, SequenceError, load
from coordinator.sequence.cases.found import lies_below
from coordinator.sequence.read import root_of
from coordinator.wire.messages import Message
from coordinator.wire.topics import COORDINATOR, FLOOR
from sim_arms.arm import Arm
from sim_arms.causes import CATALOGUE, Cause, Causes, parameter
from sim_arms.copying import Copier, copy_world, make_copyable, make_last
from sim_arms.meeting_causes import acted, watch_questions
from sim_arms.network import Network
from sim_arms.trace import TraceWriter
from sim_arms.world import World


@dataclass(frozen=True, slots=True)
class StageOpening:
    """Opens stages on one sequence."""

    loaded: Loaded

    def __call__(
        self, seed: int, *, stretch: float = 1.0, case: Case | None = None, traced: bool = False
    ) -> "CellStage":
        """Build a stage at the very beginning of a run."""
        # In virtual time nobody wakes late: the window of starts stays as it is.
        plan = replace(hurried(self.loaded.plan, stretch), barriers=self.loaded.plan.barriers)
        loaded = replace(self.loaded, plan=plan)
        return CellStage.open(loaded, seed, case, traced)


class CellStage:
    """A cell in virtual time with its judge."""

    def __init__(
        self,
        ground: Ground,
        judge: Judge,
        operated: RevivingCoordinator,
        trace: TraceWriter | None,
    ) -> None:
        """Join the parts; `world` follows, since it speaks as soon as it is there."""
        self.ground = ground
        self.judge = judge
        self.world: World
        self._operated = operated
        self._trace = trace
        self._causes: tuple[Cause, ...] = ()
        self._questions: tuple[Causes, ...] = ()

    @classmethod
    def open(cls, loaded: Loaded, seed: int, case: Case | None, traced: bool) -> "CellStage":
        """Build everything at the very beginning."""
        ground = Ground.of(loaded)
        judge = Judge(ground, ORACLES)
        causes = () if case is None else to_causes(case.causes)
        simulation = Simulation(loaded, seed, causes)
        script = OperatorScript(
            loaded.plan,
            (*(() if case is None else case.answers), *releases(loaded.plan)),
            () if case is None else case.acts,
            starts=True,
        )
        operated = RevivingCoordinator(Coordinator(loaded.plan), script)
        trace = TraceWriter(_forget) if traced else None
        stage = cls(ground, judge, operated, trace)
        operated.tell((stage._decided,), stage._proved)
        parties = [simulation.party(name) for name in simulation.names]
        for party in parties:
            make_copyable(party)
        stage._causes = causes
        judge.board.slack_us = _clocks_apart_us(causes)
        stage.world = World(
            parties,
            operated,
            Network(seed, causes),
            causes=causes,
            traced=stage._traced if traced else judge.delivered,
            said=judge.said,
        )
        return stage

    @property
    def now_us(self) -> int:
        """The time."""
        return self.world.now_us

    @property
    def index(self) -> int:
        """Deliveries so far."""
        return self.world.delivered

    @property
    def state(self) -> State:
        """What the coordinator would tell on its page."""
        return self._operated.coordinator.state

    def copy(self) -> "CellStage":
        """Return a stage that goes on from here by itself, without a trace, and is never copied."""
        copier = Copier()
        judge = copier.copy(self.judge)
        stage = CellStage(self.ground, judge, self._operated, None)
        copier.know(self, stage)
        stage._operated = operated = copier.copy(self._operated)
        operated.tell((stage._decided,), stage._proved)
        stage.world = copy_world(self.world, operated, judge.delivered, judge.said)
        make_last(stage.world)
        return stage

    def take(self, case: Case) -> None:
        """Let the causes of a case act, and its people; nothing of it has begun yet."""
        self._causes = to_causes(case.causes)
        self.judge.board.slack_us = _clocks_apart_us(self._causes)
        self.world.add_causes(self._causes)
        self._operated.script.take(case.answers, case.acts)
        self.world.post([], self._operated.name)

    def run(self, until: Callable[[], bool], time_us_max: int) -> None:
        """Let time pass."""
        self.world.run(until, time_us_max)

    def next_person_us(self) -> int | None:
        """Return when somebody will act or answer, None for never."""
        return self._operated.script.next_us()

    def hold_unattended(self) -> None:
        """Hold the run, as whoever finds nobody there does."""
        coordinator = self._operated.coordinator
        messages = coordinator.act(Act.HOLD, UNATTENDED, self.world.now_us)
        self.world.post(messages, coordinator.name)

    def watch_questions(self) -> None:
        """Note from now on which causes would act, if they were set."""
        self._questions = watch_questions(self.world)

    def questions(self) -> tuple[tuple[str, int, str, int], ...]:
        """Return (kind, when, side or "", bolt or 0) of everything that was asked for."""
        found = [
            (name, round(now_s * 1e6), side, bolt)
            for causes in self._questions
            for name, now_s, side, bolt in causes.asked or ()
        ]
        return tuple(sorted(found))

    def spoil(self, canary: str) -> None:
        """Put a defect in on purpose that the judge must report."""
        victim = self.ground.arms[0]
        self.world.coordinator = SpoiledCoordinator(self._operated, canary, victim)

    def acted(self) -> tuple[bool, ...]:
        """Return for each cause of the case whether it has acted."""
        return acted(self.world, self._causes)

    def trace_sha256(self) -> str:
        """Return the hash over every delivery so far; empty where no trace was asked for."""
        return "" if self._trace is None else self._trace.digest()

    def _decided(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        # The coordinator's own clock may be off.
        self.judge.decided(event, effects, state, self.world.now_us)

    def _proved(self, proof: Proof) -> None:
        """Do in the simulated steel what people say that they have done by hand."""
        effect = proof.effect
        record = self.ground.plan.nodes[effect.node].record
        if effect.outcome != "by_hand" or record is None:
            return
        side, torque_nm = self.ground.parties[effect.party], dict(effect.results).get("torque_nm")
        for arm in self.world.parties:
            if isinstance(arm, Arm) and arm.name == side:
                told = arm.work_by_hand(record.kind, record.bolt, torque_nm or 0.0, self.now_us)
                self.world.post(told, side)

    def _traced(self, now_us: int, target: str, message: Message) -> None:
        if self._trace is not None:
            self._trace(now_us, target, message)
        self.judge.delivered(now_us, target, message)


def _clocks_apart_us(causes: Sequence[Cause]) -> int:
    """Return by how much the clocks of two parties may differ."""
    steps = [parameter(cause, "step") for cause in causes if cause.cause == "clock_step"]
    return round(sum(abs(step_s) for step_s in steps) * 1e6)


def _forget(line: str) -> None:
    """Keep the hash of a trace alone."""


@dataclass(frozen=True, slots=True)
class StageMaker:
    """Builds stages from the texts of the files, on whatever machine; built once per process."""

    sequence: str
    """Path below the sequences folder."""
    files: tuple[tuple[str, str], ...]
    """(path below the sequences folder, whole text) of every file."""
    program: str = ""

    def loaded(self) -> Loaded:
        """Return the sequence.

        Raises:
            SequenceError: With every finding.
        """
        if self not in _LOADED:
            with TemporaryDirectory() as folder:
                try:
                    _LOADED[self] = load(self._written(Path(folder)))
                except SequenceError as error:
                    # The folder is gone when this is read; the files are known by their names.
                    raise SequenceError(
                        replace(one, file=Path(relpath(one.file, folder)).as_posix())
                        for one in error.diagnostics
                    ) from None
        return _LOADED[self]

    def _written(self, folder: Path) -> Path:
        """Write the files into a folder, and nowhere else; return the sequence among them."""
        # They may come from a case that somebody else wrote, or from another machine.
        for name in (self.sequence, *(name for name, _ in self.files)):
            if not lies_below(name):
                raise ValueError(f"file {name!r} must be a path below the folder of the sequences")
        (folder / "cells").mkdir()
        for name, text in self.files:
            place = folder / name
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_text(text, encoding="utf-8", newline="")
        return folder / self.sequence

    def opening(self) -> StageOpening:
        """Return what opens stages."""
        return StageOpening(self.loaded())

    def words(self) -> Vocabulary:
        """Return what cases are made of."""
        return vocabulary_of(self.loaded())

    def found(self) -> Found:
        """Return the files that a case is found with, and nothing of what it came to."""
        return Found(self.sequence, self.files, self.loaded().plan.digest, self.program)


_LOADED: dict[StageMaker, Loaded] = {}


def maker_of(path: Path, loaded: Loaded) -> StageMaker:
    """Return a maker that needs no file of this machine any more."""
    root = root_of(path)
    files = tuple((name, (root / name).read_bytes().decode("utf-8")) for name, _ in loaded.files)
    return StageMaker(loaded.files[0][0], files, program_sha256())


def vocabulary_of(loaded: Loaded) -> Vocabulary:
    """Return what cases of a sequence are made of."""
    arms = tuple(loaded.cell.sides)
    return Vocabulary(
        kinds=tuple(
            Kind(
                kind.name,
                kind.applies_to,
                {name: (one.dimension, one.default) for name, one in kind.parameters.items()},
                kind.placed,
            )
            for kind in CATALOGUE.values()
        ),
        arms=arms,
        parties=(*arms, FLOOR, COORDINATOR),
        bolt_count=loaded.joint.bolt_count,
        about_bolts=tuple(prompt.name for prompt in loaded.plan.prompts),
        torques_nm=_torques_nm(loaded),
        prompts=(*(prompt.name for prompt in loaded.plan.prompts), *BUILT_IN.values()),
    )


def _torques_nm(loaded: Loaded) -> tuple[float, ...]:
    """Return what a person may measure on a bolt: the torque of each round, and the joint's own."""
    joint = loaded.joint
    known = [*(one.torque_nm for one in joint.rounds), joint.torque_nm]
    return tuple(dict.fromkeys(float(f"{torque_nm:.6g}") for torque_nm in known))


def program_sha256() -> str:
    """Return the hash over every source file of the program, which a trace hangs on as well."""
    sources = sha256()
    for package in (coordinator, sim_arms):
        folder = Path(str(package.__file__)).parent
        for place in sorted(folder.rglob("*.py")):
            sources.update(place.relative_to(folder).as_posix().encode())
            sources.update(place.read_bytes())
    return sources.hexdigest()
