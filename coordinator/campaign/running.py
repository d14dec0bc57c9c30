"""Run one case on a stage until it is clear how it ends, and say what came of each cause.

Units: ``*_us`` whole microseconds since the run began.
"""

from dataclasses import dataclass, field

from coordinator.campaign.judge import Violation
from coordinator.campaign.stage import Opening, Stage
from coordinator.sequence import Case, CaseCause

OVER = ("complete", "stopped", "aborted")
BOUND_US = 900_000_000
"""From the last cause healed to an end, or to work that goes on: above every step's timeout, and
above the barriers that sides wait at for each other; a run that is stuck for longer hangs."""
SETTLE_US = 4_000_000
"""Work counts as going on once it has for so long: longer than any answer of the link."""
FRESH_US = 2_500_000
"""A party at work tells of it once a second."""
LOOK_US = 250_000
"""How often the end is looked for."""
WHOLE_US_MAX = 4 * 3600 * 1_000_000
"""Longer than every sequence shipped."""
UNATTENDED_US = 3_000_000
"""A question that nobody will answer is left open for so long before the run is held."""
WENT_ON = "went_on"
STUCK = "stuck"
BROKE = "broke"


@dataclass(frozen=True, slots=True)
class Place:
    """Where in the work a cause began to act."""

    action: str
    moment: str


@dataclass(frozen=True, slots=True)
class Effect:
    """What came of one cause."""

    cause: str
    place: Place
    acted: bool
    detected_by: str = ""
    """The fault, alarm or warning that came first after it; empty where nobody noticed."""
    delay_us: int = -1


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a case ended."""

    ended: str
    reason: str = ""
    index: int = 0
    at_us: int = 0
    violations: tuple[Violation, ...] = ()
    effects: tuple[Effect, ...] = ()
    trace_sha256: str = ""

    @property
    def signature(self) -> str:
        """What failures are grouped by: the promise broken first; empty where none was."""
        return self.violations[0].signature if self.violations else ""


@dataclass(slots=True)
class _Watch:
    """Looks for the end of a case."""

    stage: Stage
    heal_us: int
    is_whole: bool
    next_us: int = 0
    since_us: int = 0
    finished: int = 0
    phase: str = ""
    open_us: int = -1
    """Since when a question is open that nobody will answer."""
    ended: str = ""
    waits: bool = False
    found: list[Violation] = field(init=False)

    def __post_init__(self) -> None:
        """Look at what the judge finds; this is asked after every delivery."""
        self.found = self.stage.judge.found

    def __call__(self) -> bool:
        """Tell whether the case is over."""
        stage = self.stage
        if self.found:
            self.ended = stage.state.phase.value
            return True
        now_us = stage.now_us
        if now_us < self.next_us:
            return False
        # At the same moments of the run, whether it is watched from its beginning or in a copy.
        self.next_us = (now_us // LOOK_US + 1) * LOOK_US
        state = stage.state
        if state.phase in OVER:
            self.ended = state.phase.value
            return True
        if state.phase != self.phase or state.prompts or now_us < self.heal_us:
            self.phase, self.since_us = state.phase, now_us
            self.finished = stage.judge.board.finished
        if now_us < self.heal_us:
            return False
        return self._is_over(now_us)

    def _is_over(self, now_us: int) -> bool:
        stage = self.stage
        state = stage.state
        if now_us > self.heal_us + (WHOLE_US_MAX if self.is_whole else BOUND_US):
            self.ended = STUCK
            return True
        if stage.next_person_us() is not None and (state.phase != "running" or state.prompts):
            self.open_us = -1
            return False
        if state.phase in ("held", "paused"):
            self.ended = state.phase.value
            return True
        if state.phase == "idle":
            self.ended = "idle"
            return now_us > self.heal_us + SETTLE_US
        if state.prompts and state.phase in ("running", "pausing"):
            return self._is_left_open(now_us)
        if state.phase != "running":
            return False
        self.open_us = -1
        if self.is_whole or stage.next_person_us() is not None:
            return False
        if self._goes_on(now_us):
            self.ended = WENT_ON
            return True
        return False

    def _is_left_open(self, now_us: int) -> bool:
        """Leave, for a moment, to hold a run that waits for an answer which never comes."""
        if self.open_us < 0:
            self.open_us = now_us
        self.waits = now_us - self.open_us > UNATTENDED_US
        return self.waits

    def _goes_on(self, now_us: int) -> bool:
        board = self.stage.judge.board
        if now_us - self.since_us < SETTLE_US:
            return False
        for party in board.ground.arms:
            live = board.live.get(party)
            if live is not None and now_us - board.last_us[party] > FRESH_US:
                return False
        if not board.live:
            return False
        return board.finished > self.finished or now_us - self.since_us > 2 * SETTLE_US


def healed_us(case: Case) -> int:
    """Return when the last cause of a case has ceased, and the last act at a time is over."""
    ends = [(cause.at_us or 0) + (cause.for_us or 0) + _down_us(cause) for cause in case.causes]
    acts = [act.at_us for act in case.acts if act.at_us is not None]
    return max((*ends, *acts), default=0)


def run_case(stage: Stage, case: Case, *, is_whole: bool = False) -> Outcome:
    """Run a case that was taken, or known from the start, and judge it.

    Args:
        stage: At or before the moment at which the first cause begins.
        case: The case.
        is_whole: Follow the run to its very end, instead of until work clearly goes on.
    """
    watch = _Watch(stage, healed_us(case), is_whole)
    places: list[Place] = []
    try:
        for cause in sorted(case.causes, key=_begins_us):
            begins_us = _begins_us(cause)
            stage.run(lambda at=begins_us: watch() or stage.now_us >= at, begins_us)  # type: ignore[misc]  # bound by default
            places.append(place_of(stage, cause))
        while True:
            stage.run(watch, 1 << 60)
            if not watch.waits:
                break
            watch.waits, watch.open_us = False, -1
            stage.hold_unattended()
    except Exception as error:
        text = f"{type(error).__name__}: {error}"
        stage.judge.report("X1", type(error).__name__, text)
        watch.ended = BROKE
    if watch.ended == STUCK:
        phase = stage.state.phase.value
        stage.judge.report("E1", phase, f"{phase} long after the last cause healed")
    return _outcome(stage, case, watch.ended, places)


def replay_case(opening: Opening, case: Case) -> Outcome:
    """Run a case from the very beginning, with its trace."""
    found = case.found
    stretch = 1.0 if found is None else found.stretch
    stage = opening(case.seed, stretch=stretch, case=case, traced=True)
    return run_case(stage, case, is_whole=found is not None and found.is_whole)


def place_of(stage: Stage, cause: CaseCause) -> Place:
    """Return what the side that a cause concerns was doing, and how far it was."""
    board = stage.judge.board
    ground = board.ground
    party = cause.side if cause.side in ground.parties else ""
    if not party and cause.bolt is not None:
        serves = [step.party for step in ground.steps.values() if step.bolt == cause.bolt]
        party = serves[0] if serves else ""
    busy = [one for one in ground.parties if one in board.live]
    live = board.live.get(party or (busy[0] if busy else ""))
    if live is None:
        return Place("waiting", "between")
    lasted_us = stage.now_us - live.begun_us
    if lasted_us < 1_000_000:
        return Place(live.action, "begins")
    return Place(live.action, "at_work" if lasted_us < 8_000_000 else "long_at_work")


def _begins_us(cause: CaseCause) -> int:
    return cause.at_us or 0


def _down_us(cause: CaseCause) -> int:
    return round(dict(cause.parameters).get("down", 0.0) * 1e6)


def _outcome(stage: Stage, case: Case, ended: str, places: list[Place]) -> Outcome:
    acted = stage.acted()
    order = sorted(range(len(case.causes)), key=lambda index: _begins_us(case.causes[index]))
    effects = []
    for rank, index in enumerate(order):
        place = places[rank] if rank < len(places) else Place("never", "between")
        effects.append(_effect(stage, case.causes[index], place, acted[index]))
    return Outcome(
        ended,
        stage.state.reason,
        stage.index,
        stage.now_us,
        tuple(stage.judge.found),
        tuple(effects),
        stage.trace_sha256(),
    )


def _effect(stage: Stage, cause: CaseCause, place: Place, acted: bool) -> Effect:
    began_us = _begins_us(cause)
    seen = [(one.at_us, one.kind) for one in stage.judge.notices if one.severity != "note"]
    seen += [(at_us, fault) for at_us, fault, _ in stage.judge.faults]
    after = [(at_us, kind) for at_us, kind in sorted(seen) if at_us >= began_us]
    if not acted or not after:
        return Effect(cause.cause, place, acted)
    at_us, kind = after[0]
    return Effect(cause.cause, place, acted, kind, at_us - began_us)
