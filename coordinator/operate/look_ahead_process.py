"""Look ahead from a prompt of a run in real time, in a process of its own, in virtual time.

The run itself cannot be copied: its arms live elsewhere. So a rehearsal is brought to the same
question: with the causes of the run's case if it has one, else supposing, one after another, each
cause of the catalogue that may show as the fault, at the step in question. Standard input has what
is asked for; standard output has what was foreseen. It moves nothing.

Units: ``*_us`` whole microseconds since the run began.
"""

import os
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from coordinator.core.effects import Effect, SendDo
from coordinator.core.events import Act as Deed
from coordinator.core.events import Event
from coordinator.core.plan import Option
from coordinator.core.state import (
    CoreFault,
    OpenPrompt,
    State,
)
from coordinator.operate.party_process import read_causes
from coordinator.rehearse.look_ahead import Outlook
from coordinator.rehearse.rehearsal import rehearse
from coordinator.sequence import Case, CaseCause, Loaded, load
from coordinator.sequence.cases.case import Act, Answer
from sim_arms.causes import CATALOGUE

NICENESS = 10
"""Chosen: the run and its arms go first; whoever waits for the answer is a person."""
SUPPOSED_MAX = 3
"""Chosen: a person waits for the answer; so many rehearsals take a few seconds."""
RESTARTS = 10
TIMES = 20
"""How often a supposed cause acts: as often as is needed for the question to be asked."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked for."""

    sequence: str
    joint: str | None
    seed: int
    node: str
    fault: str
    repeats: int
    causes: str | None
    """File of the run's own causes, None if it has none that are known."""
    answers: tuple[tuple[str, str, str, float | None], ...] = ()
    """(prompt, option, who, check torque) given so far."""


@dataclass(frozen=True, slots=True)
class Foreseen:
    """What each answer leads to, under a supposition."""

    supposing: str
    outlooks: tuple[Outlook, ...]


ASKED = TypeAdapter(Asked)
FORESEEN = TypeAdapter(tuple[Foreseen, ...])


def foresee(asked: Asked) -> tuple[Foreseen, ...]:
    """Return what was foreseen; empty if no rehearsal came to the same question."""
    joint = None if asked.joint is None else Path(asked.joint)
    loaded = load(Path(asked.sequence), joint=joint)
    found: list[Foreseen] = []
    for supposing, causes in _suppositions(asked, loaded):
        outlooks = _rehearsed(asked, loaded, causes)
        if outlooks:
            found.append(Foreseen(supposing, outlooks))
        if outlooks and supposing == "the case":
            break  # What is at work is known: nothing need be supposed.
        if len(found) == SUPPOSED_MAX:
            break
    return tuple(found)


def _rehearsed(
    asked: Asked, loaded: Loaded, causes: tuple[CaseCause, ...]
) -> tuple[Outlook, ...] | None:
    names = [node.name for node in loaded.plan.nodes]

    def is_same(opened: OpenPrompt) -> bool:
        return names[opened.node] == asked.node and opened.fault == asked.fault

    entries = tuple(
        Act(act, "look-ahead", when="held", after_us=after_us)
        for _ in range(RESTARTS)
        for act, after_us in ((Deed.RESET, 60_000_000), (Deed.RESTART, 61_000_000))
    )
    answers = tuple(
        Answer(name, Option(word), who, torque_nm=nm) for name, word, who, nm in asked.answers
    )
    case = Case("look_ahead", causes=causes, answers=answers, acts=entries)
    result = rehearse(loaded, seed=asked.seed, case=case, look_ahead=asked.repeats, only=is_same)
    return result.foreseen[0][2] if result.foreseen else None


def _suppositions(asked: Asked, loaded: Loaded) -> Iterator[tuple[str, tuple[CaseCause, ...]]]:
    if asked.causes is not None:
        own = read_causes(Path(asked.causes))
        if own:
            yield "the case", tuple(CaseCause(**_fields(cause)) for cause in own)
    if asked.fault == CoreFault.HOLD_POINT:
        yield "nothing going wrong", ()  # It is asked whatever happens.
        return
    node = next(one for one in loaded.plan.nodes if one.name == asked.node)
    side = loaded.plan.parties[node.lane].name
    bolt = next((value for name, value in _parameters(node.move) if name == "bolt"), None)
    begins_us = _begins_us(asked, loaded)
    for kind in CATALOGUE.values():
        if asked.fault not in kind.shows_as:
            continue
        if kind.applies_to == "bolt" and isinstance(bolt, int):
            yield kind.name, (CaseCause(kind.name, bolt=bolt, times=TIMES),)
        elif kind.applies_to == "side":
            yield kind.name, (CaseCause(kind.name, side, at_us=begins_us, times=TIMES),)


def _begins_us(asked: Asked, loaded: Loaded) -> int:
    """Return when the step in question first begins while nothing is wrong."""
    moments: list[int] = []

    def note(event: Event, effects: tuple[Effect, ...], state: State) -> None:
        sent = (one.node for one in effects if isinstance(one, SendDo))
        moments.extend(event.at_us for one in sent if loaded.plan.nodes[one].name == asked.node)

    rehearse(loaded, seed=asked.seed, listeners=(note,))
    return moments[0] if moments else 0


def _parameters(move: Any) -> tuple[tuple[str, Any], ...]:
    return () if move is None else move.parameters


def _fields(cause: Any) -> dict[str, Any]:
    return {name: getattr(cause, name) for name in CaseCause.__dataclass_fields__}


def main() -> None:
    """Read what is asked for, and print what was foreseen as JSON."""
    asked = ASKED.validate_json(sys.stdin.buffer.read())
    sys.stdout.buffer.write(FORESEEN.dump_json(foresee(asked)))


if __name__ == "__main__":
    os.nice(NICENESS)
    main()
