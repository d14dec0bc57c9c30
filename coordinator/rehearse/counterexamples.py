"""Leave a counterexample as a picture and as a case, and say whether rehearsing the case shows it.

A case sets causes, never outcomes: what went wrong on the way is turned into causes that physics
has for it, at the step at which it went wrong. Whether that leads to the same end is not taken for
granted: the case is rehearsed and judged by the same property.

Units: ``*_us`` whole microseconds since the run began.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import product
from pathlib import Path
from typing import TypeVar

from coordinator.campaign.case_file import case_text
from coordinator.core.decide import begin
from coordinator.core.effects import Effect
from coordinator.core.events import Act as Deed
from coordinator.core.events import Event
from coordinator.core.plan import Move, Option
from coordinator.core.state import ENDED, State
from coordinator.draw.counterexample import draw_counterexample
from coordinator.prove.monitors import Happened, Judge, Violation
from coordinator.prove.own import Own
from coordinator.prove.stand_ins import UNRULED
from coordinator.prove.ways import WAYS
from coordinator.rehearse.fault_table import (
    AFTER_US,
    LASTS_US,
    Mode,
    Spells,
    cause_of,
    fits,
    spells_of,
)
from coordinator.rehearse.mates import LOOKS_US, RESET_US, helping
from coordinator.rehearse.rehearsal import Rehearsal, rehearse
from coordinator.rehearse.stage import vocabulary_of
from coordinator.rehearse.standing import heading_of, standings_of
from coordinator.sequence import Case, CaseCause, Loaded, People
from coordinator.sequence.cases.case import Act, Answer
from sim_arms.causes import CATALOGUE, Cause, Causes, floor_signals

SEED = 1
"""Of `dryrun`, where it is not told another."""
NAME_MAX = 40
"""Of the name of a case."""
TO_COME = ("no_deadlock", *WAYS)
"""Properties about what can still come."""
BY_WORDS = {
    "goes silent": "party_cut",
    "is lost": "party_cut",
    "starts anew": "party_restarts",
    "takes too long": "slow_arm",
    "pulls out of balance": "air_in_oil",
    "starts too late": "delay",
    # What no rule speaks of holds everybody; so does the loss of the party, which physics has.
    f"fails: {UNRULED}": "party_cut",
    f"fails ({UNRULED}) and stands": "party_cut",
    "holds by itself": "party_cut",
}
DEEDS = {"resets": Deed.RESET, "restarts": Deed.RESTART, "resumes": Deed.RESUME, "stops": Deed.STOP}
PAUSES = "a person pauses"
BY_PEOPLE = ("answered", "pause", "resume", "reset", "restart")
"""What notices of people's acts are called."""
SHIFTS_US = (0, 1_000_000, 4_000_000)
"""Chosen: a step at hand may still be on its way to where the cause can show."""
SLOWER = 2.0
"""Chosen: not all that a step does is moving, and only that is slowed."""
Timed = TypeVar("Timed", CaseCause, Act)


@dataclass(frozen=True, slots=True)
class Left:
    """What was written about one counterexample."""

    picture: Path
    case: Path | None
    """None where nothing in the simulated world can cause it."""
    words: str
    """What rehearsing the case came to, or why there is none."""
    is_shown: bool
    is_new: bool = True
    """False where it took the place of what an earlier check had left."""


@dataclass(slots=True)
class Watch:
    """Judges a rehearsal by the properties of the proof, as the walk does."""

    loaded: Loaded
    broken: dict[str, str] = field(default_factory=dict)
    """Each property with what broke it first."""

    def __post_init__(self) -> None:
        """Begin where every run begins."""
        plan = self.loaded.plan
        self._judge, self._own = Judge(plan), Own(plan, self.loaded.properties)
        self._before, self._memory = begin(plan), self._own.start

    _judge: Judge = field(init=False, repr=False)
    _own: Own = field(init=False, repr=False)
    _before: State = field(init=False, repr=False)
    _memory: tuple[int, ...] = field(init=False, repr=False)

    def __call__(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        """Judge one decision."""
        found = [self._judge.judge(self._before, state, effects)]
        found.append(self._judge.judge_rounds_in(state))
        self._memory, own = self._own.follow(self._memory, self._before, state, effects)
        for one in (*found, *own):
            if one is not None:
                self.broken.setdefault(*one)
        self._before = state


def leave(
    folder: Path, loaded: Loaded, violation: Violation, promised: str, taken: set[str]
) -> Left:
    """Write the picture and, where there is one, the case of a counterexample.

    Args:
        folder: Where to; made if it is not there.
        loaded: The sequence.
        violation: The counterexample.
        promised: The sentence of the property.
        taken: Names that this check has given to others; its own is put in.
    """
    folder.mkdir(parents=True, exist_ok=True)
    plan = loaded.plan
    stem = _name_apart(f"{plan.name}_{violation.property.replace('.', '_')}", taken)
    picture = folder / f"{stem}.svg"
    is_new = not picture.exists()
    parties = [party.name for party in plan.parties]
    stands = heading_of(violation), standings_of(plan, violation)
    drawn = draw_counterexample(plan.name, parties, violation, promised, stands)
    picture.write_text(drawn, "utf-8")
    case = case_of(loaded, violation, name=stem)
    if isinstance(case, str):
        return Left(picture, None, f"no case: {case}", False, is_new)
    for shifted in _shifted(case):
        is_shown, words = tried(loaded, shifted, violation)
        if is_shown:
            break
    path = folder / f"{stem}.yaml"
    path.write_text(case_text(shifted, vocabulary_of(loaded)), "utf-8")
    return Left(picture, path, words, is_shown, is_new)


def _name_apart(stem: str, taken: set[str]) -> str:
    """Return a name that no other counterexample of this check has: two files may be called alike.

    A case has at most 40 characters for its name, so the number stands within them.
    """
    name, number = stem[:NAME_MAX], 1
    while name in taken:
        number += 1
        name = f"{stem[: NAME_MAX - 1 - len(str(number))]}_{number}"
    taken.add(name)
    return name


def _shifted(case: Case) -> Iterator[Case]:
    """Yield the case with what happens at a time somewhat later, and people later than causes."""
    people_us = SHIFTS_US if any(one.at_us is not None for one in case.acts) else (0,)
    for shift_us, apart_us in product(SHIFTS_US, people_us):
        causes = tuple(_later(one, shift_us) for one in case.causes)
        acts = tuple(_later(one, shift_us + apart_us) for one in case.acts)
        yield replace(case, causes=causes, acts=acts)


def _later(one: Timed, by_us: int) -> Timed:
    return one if one.at_us is None else replace(one, at_us=one.at_us + by_us)


def tried(loaded: Loaded, case: Case, violation: Violation) -> tuple[bool, str]:
    """Rehearse a case; tell whether the property is broken in it too, and how it ended."""
    name = violation.property
    if name in TO_COME:
        return _tried_with_help(loaded, case, violation)
    watch = Watch(loaded)
    result = rehearse(loaded, seed=SEED, case=case, listeners=(watch,))
    ended = f"the rehearsal of the case ended {result.phase}"
    if name in watch.broken:
        return True, f"{ended} and shows the same: {watch.broken[name]}"
    return False, f"{ended} and does not show this: physics keeps the arms from that moment"


def _tried_with_help(loaded: Loaded, case: Case, violation: Violation) -> tuple[bool, str]:
    """Rehearse what is promised where people help and nothing more goes wrong.

    It is shown where the run stands still all the same, where it does not get to an end, or where
    only something more that goes wrong brings it there.
    """
    help_ = helping(loaded.plan)
    people = People((*case.answers, *help_.answers), (*case.acts, *help_.acts), case.steps)
    result = rehearse(loaded, seed=SEED, case=case, people=people)
    ended = f"the rehearsal of the case ended {result.phase}"
    if result.stands:
        return True, f"{ended}, after nothing came any more and nobody was asked"
    if result.phase not in ENDED:
        return True, f"{ended}, though people helped"
    nodes = [loaded.plan.nodes[one.node] for one in violation.course if one.node >= 0]
    longest_us = max((node.move.timeout_us for node in nodes if node.move), default=LASTS_US)
    if more := _went_wrong_later(case, result, longest_us):
        return True, f"{ended}, and only since something more went wrong: {more}"
    return False, f"{ended} with people who help, so it does not show this"


def _went_wrong_later(case: Case, result: Rehearsal, longest_us: int) -> str:
    """Return what first went wrong when all causes were over and people had done their part."""
    over_us = [(one.at_us or 0) + (one.for_us or LASTS_US) for one in case.causes]
    calm_us = max(over_us, default=0) + longest_us
    if any(CATALOGUE[one.cause].applies_to == "bolt" for one in case.causes):
        return ""  # It stays as it is.
    for at_us, notice in result.notices:
        if notice.kind in BY_PEOPLE:
            calm_us = max(calm_us, at_us + longest_us)
        elif notice.kind in ("hold", "prompt") and at_us > calm_us:
            return notice.text
    return ""


def case_of(loaded: Loaded, violation: Violation, *, name: str) -> Case | str:
    """Return the case of a counterexample, or why there is none."""
    spells = {node: one for node, one in spells_of(loaded, SEED).items() if node >= 0}
    causes: list[CaseCause] = []
    acts: list[Act] = []
    for place, one in enumerate(violation.course):
        if not one.is_cause:
            continue
        node = _at_hand(loaded, violation.course[: place + 1], spells)
        if one.words == PAUSES and node in spells:
            acts.append(Act(Deed.PAUSE, "mate", at_us=spells[node][0] + AFTER_US))
            continue
        found = _cause(loaded, one, node, spells)
        if found is None:
            where = one.step or "a barrier"
            return f"the simulated world has no cause for '{one.words}' at {where}"
        causes.append(found)
    return Case(
        case=re.sub(r"[^a-z0-9_]", "_", name.lower()),
        text=f"found by the proof: {violation.property}; {violation.text}",
        seed=SEED,
        causes=tuple(_merged(causes)),
        answers=tuple(_answers(violation.course)),
        acts=(*acts, *_acts(violation.course)),
    )


def _merged(causes: Sequence[CaseCause]) -> Iterator[CaseCause]:
    """Yield each cause once; of equal ones the one acts as often, or as long, as all of them.

    Side by side they would act at the same moment and be over when the step is tried again.
    """
    for one in dict.fromkeys(causes):
        count, kind = causes.count(one), CATALOGUE[one.cause]
        times = one.times or kind.times or (1 if one.for_us and kind.applies_to == "side" else None)
        if count == 1:
            yield one
        else:
            for_us = None if one.for_us is None else count * one.for_us
            yield replace(one, for_us=for_us, times=None if times is None else count * times)


def _at_hand(loaded: Loaded, course: Sequence[Happened], spells: Spells) -> int:
    """Return the step that the course has come to: that of the last happening, or its next."""
    for one in reversed(course):
        if one.node < 0:
            continue
        lane = loaded.plan.lanes[loaded.plan.nodes[one.node].lane]
        ahead = lane[lane.index(one.node) + one.words.startswith("is done") :]
        for node in ahead:
            if node in spells:
                return node
    return min(spells, key=lambda node: spells[node], default=-1)


def _cause(loaded: Loaded, one: Happened, node: int, spells: Spells) -> CaseCause | None:
    """Return a cause that physics has for what went wrong, at the step at hand."""
    if node not in spells:
        return None
    if one.lane < 0:
        return _of_floor(one.words, spells[node][0] + AFTER_US)
    step, plan = loaded.plan.nodes[node], loaded.plan
    if step.move is None:
        return None
    side = plan.parties[one.lane].name
    fault = re.match(r"fails:? \(?(\w+)", one.words)
    known = BY_WORDS.get(one.words)
    for kind in CATALOGUE.values():
        is_meant = kind.name == known if known else bool(fault and fault[1] in kind.shows_as)
        if is_meant and (known or fits(loaded, kind, step, step.move.action)):
            cause = cause_of(Mode(kind, step, side, *spells[node]))
            return _too_slow(cause, step.move, spells[node]) if known == "slow_arm" else cause
    return None


def _too_slow(cause: CaseCause, move: Move, spell: tuple[int, int]) -> CaseCause:
    """Make an arm so slow that a step cannot end within its time, and for that long."""
    begins_us, ends_us = spell
    factor = max(SLOWER * move.timeout_us / max(ends_us - begins_us, 1), SLOWER)
    parameters = (("factor", float(round(factor))),)
    return replace(cause, for_us=round(SLOWER * move.timeout_us), parameters=parameters)


def _of_floor(words: str, at_us: int) -> CaseCause | None:
    """Return the cause that turns a signal bad."""
    signal = words.removesuffix(" turns bad")
    for kind in CATALOGUE.values():
        if kind.applies_to not in ("floor", "side"):
            continue
        made = floor_signals(Causes((Cause(kind.name),)), 0.0, {signal: True})
        if made is not None and made[signal] is not True:
            return CaseCause(kind.name, at_us=at_us, for_us=LASTS_US)
    return None


def _answers(course: Sequence[Happened]) -> Iterator[Answer]:
    for one in course:
        found = re.fullmatch(r"a person answers (\w+) to (\w+)", one.words)
        if found:
            yield Answer(found[2], Option(found[1]), "mate", after_us=LOOKS_US)


def _acts(course: Sequence[Happened]) -> Iterator[Act]:
    for one in course:
        word = one.words.removeprefix("a person ")
        if word in DEEDS:
            when = "paused" if DEEDS[word] is Deed.RESUME else "held"
            yield Act(DEEDS[word], "mate", when=when, after_us=RESET_US)
