"""Find out from a journal where a run was left, so that another coordinator can go on with it.

Units: ``*_us`` whole microseconds since the run began.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import unified_diff

from coordinator.core.decide import begin, decide
from coordinator.core.effects import WriteRecord
from coordinator.core.events import CommandFinished, Event
from coordinator.core.plan import Plan
from coordinator.core.state import Doing, State
from coordinator.live.coordinator import Progress
from coordinator.records.journal import PinnedFile

CONTEXT_LINES = 0
DIFFERENCES_MAX = 40
"""Chosen: a screen; whoever has changed more compares the files with a tool for that."""


@dataclass(frozen=True, slots=True)
class Replayed:
    """What the events of a journal lead to."""

    state: State
    at_us: int = 0
    proofs: tuple[tuple[WriteRecord, int], ...] = ()
    done: tuple[str, ...] = ()
    """Per lane the step done last, empty for none."""

    def progress(self, recorded: Sequence[tuple[int, int]]) -> Progress:
        """Return where to go on, owing what is not among `recorded`, (party, command) each."""
        known = frozenset(recorded)
        owed = tuple(
            (effect, at_us)
            for effect, at_us in self.proofs
            if (effect.party, effect.command) not in known
        )
        return Progress(self.state, self.at_us, owed)


def replay_events(plan: Plan, events: Iterable[Event], first_command: int = 0) -> Replayed:
    """Decide the events of a journal again; what follows from them is not done again."""
    state, at_us = begin(plan, first_command), 0
    proofs: list[tuple[WriteRecord, int]] = []
    done = [""] * len(plan.parties)
    for event in events:
        if isinstance(event, CommandFinished):
            lane = state.lanes[event.party]
            if event.command == lane.command and lane.doing is Doing.STEP and lane.node >= 0:
                done[event.party] = plan.nodes[lane.node].name
        state, effects = decide(plan, state, event)
        at_us = event.at_us
        proofs += [(effect, at_us) for effect in effects if isinstance(effect, WriteRecord)]
    return Replayed(state, at_us, tuple(proofs), tuple(done))


def differences(pinned: Sequence[PinnedFile], now: Sequence[PinnedFile]) -> tuple[str, ...]:
    """Return, line by line, what has changed in the files that a run was begun with.

    Args:
        pinned: As the head of the journal holds them.
        now: As they are on the disk.
    """
    contents = {file.name: file.content for file in now}
    lines: list[str] = []
    for file in pinned:
        if file.name not in contents:
            lines.append(f"{file.name}: is not read any more")
        elif contents[file.name] != file.content:
            lines += _changed_lines(file, contents[file.name])
    known = [file.name for file in pinned]
    lines += [f"{name}: was not read then" for name in contents if name not in known]
    left = len(lines) - DIFFERENCES_MAX
    return (*lines[:DIFFERENCES_MAX], *([f"... and {left} more"] if left > 0 else []))


def _changed_lines(file: PinnedFile, content: str) -> list[str]:
    compared = unified_diff(
        file.content.splitlines(), content.splitlines(), lineterm="", n=CONTEXT_LINES
    )
    lines: list[str] = []
    place = ""
    for line in list(compared)[2:]:
        if line.startswith("@@"):
            place = line.split()[2].lstrip("+").split(",")[0]
        else:
            lines.append(f"{file.name}:{place}: {'was' if line[0] == '-' else 'is '}: {line[1:]}")
    return lines or [f"{file.name}: only its line ends have changed"]
