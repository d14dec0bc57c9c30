"""Run a day on which nothing goes wrong, and note when each step was at work.

Units: ``*_us`` whole microseconds since the run began.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from coordinator.campaign.judge import Judge, Oracle
from coordinator.campaign.running import Outcome, run_case
from coordinator.campaign.stage import Stage
from coordinator.sequence import Case
from coordinator.wire.messages import Accepted, Faulted, Finished, Interrupted, Message, Started

BEGINS_US = 1_000_000
LONG_US = 8_000_000
APART_US = 300_000
"""What is asked for again within this time counts as asked for once."""
MOMENTS = ("begins", "at_work", "long_at_work", "between")
"""Within the first second of a step; within eight; later; while the side waits."""
WAITING = "waiting"


@dataclass(frozen=True, slots=True)
class Working:
    """One step at work."""

    party: str
    step: str
    action: str
    bolt: int
    begun_us: int
    ended_us: int


@dataclass(frozen=True, slots=True)
class Survey:
    """A clean day."""

    working: tuple[Working, ...]
    ended_us: int
    outcome: Outcome
    bites: Mapping[str, tuple[tuple[int, str, int], ...]]
    """For each kind of cause that is asked for at the steel: when, on which side and bolt."""

    def cells(self) -> tuple[tuple[str, str], ...]:
        """Return every (action, moment) that this day offers."""
        found: dict[tuple[str, str], None] = {(WAITING, "between"): None}
        for one in self.working:
            for moment in MOMENTS[:3]:
                if window_us(one, moment) is not None:
                    found[one.action, moment] = None
        return tuple(found)


def moment_of(lasted_us: int) -> str:
    """Return at which moment of its work a step is that has lasted so long."""
    if lasted_us < BEGINS_US:
        return "begins"
    return "at_work" if lasted_us < LONG_US else "long_at_work"


def window_us(one: Working, moment: str) -> tuple[int, int] | None:
    """Return from when to when a moment of a step lasts, None where the step is too short."""
    match moment:
        case "begins":
            low_us, high_us = one.begun_us, one.begun_us + BEGINS_US
        case "at_work":
            low_us, high_us = one.begun_us + BEGINS_US, one.begun_us + LONG_US
        case "long_at_work":
            low_us, high_us = one.begun_us + LONG_US, one.ended_us
        case _:
            low_us, high_us = max(1, one.begun_us - 400_000), one.begun_us - 1
    if moment != "between":
        high_us = min(high_us, one.ended_us)
    return (low_us + 1, high_us - 1) if high_us - low_us > 10_000 else None


def survey(stage: Stage) -> Survey:
    """Run a stage that stands at its beginning to its end, with nothing going wrong."""
    notes = _Notes(stage.judge)
    stage.judge.seat(notes)
    stage.watch_questions()
    outcome = run_case(stage, Case("clean"), is_whole=True)
    if outcome.ended != "complete" and not outcome.violations:
        text = f"nothing went wrong, and it ended {outcome.ended}: {outcome.reason}"
        stage.judge.report("E3", outcome.ended, text)
        outcome = replace(outcome, violations=tuple(stage.judge.found))
    working = sorted(notes.working, key=lambda one: (one.begun_us, one.party))
    bites: dict[str, list[tuple[int, str, int]]] = {}
    for kind, at_us, side, bolt in stage.questions():
        places = bites.setdefault(kind, [])
        if not places or at_us - places[-1][0] > APART_US:
            places.append((at_us, side, bolt))
    kept = {kind: tuple(places) for kind, places in bites.items()}
    return Survey(tuple(working), stage.now_us, outcome, kept)


class _Notes(Oracle):
    """Notes when each command was at work; it judges nothing."""

    def __init__(self, judge: Judge) -> None:
        super().__init__(judge)
        self.working: list[Working] = []

    def reported(self, now_us: int, message: Message) -> None:
        body = message.body
        if not isinstance(body, Finished | Faulted | Interrupted | Accepted | Started):
            return
        command = self.board.command(message.subject, body.command)
        if command is None or not command.moves or command.ended_us != now_us:
            return
        bolt = command.parameters.get("bolt", 0)
        self.working.append(
            Working(
                command.party,
                command.step,
                command.action,
                bolt if isinstance(bolt, int) else 0,
                command.begun_us,
                now_us,
            )
        )
