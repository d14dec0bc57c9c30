"""Find out from a journal where a run was left, so that another coordinator can go on with it.

Units: ``*_us`` whole microseconds since the run began.
"""

from collections.abc import Sequence
from difflib import unified_diff

from coordinator.live.coordinator import Progress
from coordinator.records.journal import PinnedFile
from coordinator.records.replaying import Replaying

CONTEXT_LINES = 0
DIFFERENCES_MAX = 40
"""Chosen: a screen; whoever has changed more compares the files with a tool for that."""


def progress_of(replayed: Replaying, recorded: Sequence[tuple[int, int]]) -> Progress:
    """Return where to go on, owing what is not among `recorded`, (party, command) each."""
    known = frozenset(recorded)
    owed = tuple(
        (effect, at_us)
        for effect, at_us in replayed.proofs
        if (effect.party, effect.command) not in known
    )
    return Progress(replayed.state, replayed.at_us, owed)


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
