"""Decide the events of a journal again, and see that they lead to where they led.

Units: ``*_us`` whole microseconds since the run began.
Invariants: J2, decode after encode is the identity, and what was decided is decided again in a
replay.
"""

from collections.abc import Iterator

from coordinator.core.decide import begin, decide
from coordinator.core.effects import Effect, WriteRecord
from coordinator.core.events import CommandFinished, Event
from coordinator.core.plan import Plan
from coordinator.core.state import Doing, State
from coordinator.records.journal import Commit, Journal, JournalFailed, Waypoint, events_of


class Replaying:
    """What the events taken so far lead to; nothing that follows from them is done again."""

    def __init__(self, plan: Plan, first_command: int = 0) -> None:
        self.plan = plan
        self.state: State = begin(plan, first_command)
        self.at_us = 0
        """Of the last event."""
        self.events = 0
        self.proofs: list[tuple[WriteRecord, int]] = []
        """What was proved, and when it was decided."""
        self.done = [""] * len(plan.parties)
        """Per lane the step done last, empty for none."""

    def take(self, event: Event) -> tuple[Effect, ...]:
        """Decide one event."""
        if isinstance(event, CommandFinished):
            lane = self.state.lanes[event.party]
            if event.command == lane.command and lane.doing is Doing.STEP and lane.node >= 0:
                self.done[event.party] = self.plan.nodes[lane.node].name
        self.state, effects = decide(self.plan, self.state, event)
        self.at_us = event.at_us
        self.events += 1
        self.proofs += [(one, self.at_us) for one in effects if isinstance(one, WriteRecord)]
        return effects

    def take_journal(self, journal: Journal) -> Iterator[tuple[Event, tuple[Effect, ...], State]]:
        """Decide a journal and yield each event with its effects and the state after it.

        Raises:
            JournalFailed: JNL003; JNL006, these decisions are not those that were made then.
        """
        for commit in journal.read_commits():
            for event in events_of(journal.path, commit):
                yield event, self.take(event), self.state
            self._compare(journal, commit)

    def _compare(self, journal: Journal, commit: Commit) -> None:
        now = Waypoint.of(self.state)
        if commit.waypoint in (None, now):
            return
        program = journal.head.program or "unknown"
        raise JournalFailed(
            f"{journal.path}: commit {commit.number} led to {_say(commit.waypoint)}, now it leads "
            f"to {_say(now)}: this version decides otherwise; use version {program} [JNL006]"
        )


def replay_steps(plan: Plan, journal: Journal) -> Iterator[tuple[Event, tuple[Effect, ...], State]]:
    """Decide a journal's events again and yield each with its effects and the state after it.

    Raises:
        JournalFailed: JNL003; JNL006.
    """
    return Replaying(plan, journal.head.first_command).take_journal(journal)


def replay(plan: Plan, journal: Journal) -> Replaying:
    """Return what a journal leads to.

    Raises:
        JournalFailed: JNL003; JNL004, the journal was written for another plan; JNL006.
    """
    if journal.head.plan_digest != plan.digest:
        raise JournalFailed(
            f"{journal.path}: of plan {journal.head.plan_digest[:12]}, "
            f"given is {plan.digest[:12]}; compare the files [JNL004]"
        )
    replaying = Replaying(plan, journal.head.first_command)
    for _ in replaying.take_journal(journal):
        pass
    return replaying


def _say(at: Waypoint | None) -> str:
    return "nothing" if at is None else f"command {at.command}, prompt {at.prompt}, {at.phase}"
