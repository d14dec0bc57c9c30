"""Try every answer to an open prompt on the simulated cell as it stands, before a person gives it.

The process is forked, so that the copy is exactly the present: the same core in the same state,
the same steel, arms in the middle of whatever they do, and the same causes at work. Only chance is
drawn anew, so that repeats differ as a second try would. What is foreseen is foreseen for the
simulated world; it moves nothing.

Units: ``*_us`` whole microseconds since the run began.
Invariants: LV12, looking ahead leaves the run as it was.
"""

import json
import os
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from typing import Any

from coordinator.core.events import PersonEvent, PromptAnswered
from coordinator.core.plan import Option, Plan
from coordinator.core.state import OpenPrompt, State
from coordinator.live.coordinator import Coordinator
from coordinator.live.explain import explain
from coordinator.live.operator import OperatorScript
from sim_arms.world import World

SOON_US = 30_000_000
"""What is shown of each answer: the next half minute."""
FAR_US = 600_000_000
"""Chosen: within ten minutes every recovery of the shipped sequences has helped or not."""
WHO = "look-ahead"
ENDS = ("helps", "asks again", "held", "aborted", "too long")


@dataclass(frozen=True, slots=True)
class Outlook:
    """What one answer leads to."""

    option: str
    helps: int
    """In how many of the repeats the step at hand was done, and nobody had to be asked again."""
    repeats: int
    ends: tuple[tuple[str, int], ...]
    """How the repeats ended, and how often each."""
    soon: tuple[str, ...]
    """What each lane does in the next half minute, in the first repeat."""

    def words(self) -> str:
        """Return it as a line for people."""
        ends = ", ".join(f"{end} {count}" for end, count in self.ends)
        soon = "; ".join(self.soon) or "nothing moves"
        return f"{self.option}: helps in {self.helps} of {self.repeats} ({ends}). Next 30 s: {soon}"


class LookAhead:
    """Looks at every prompt of a rehearsal once, in forked copies that never come back.

    A copy goes on out of the very call in which it was made, so that nothing under way is lost;
    its operator answers as it was told and nothing else.
    """

    def __init__(
        self,
        coordinator: Coordinator,
        repeats: int,
        seed: int,
        only: Callable[[OpenPrompt], bool] | None = None,
    ) -> None:
        self._coordinator = coordinator
        self._only = only
        self._repeats = repeats
        self._seed = seed
        self._seen = 0
        self._copy: _Copy | None = None
        self.found: list[tuple[int, OpenPrompt, tuple[Outlook, ...]]] = []
        """(when, prompt, what each answer leads to)."""

    @property
    def is_copy(self) -> bool:
        """Whether this is a copy: nobody but the look-ahead acts in it."""
        return self._copy is not None

    @property
    def is_over(self) -> bool:
        """Whether what was to be looked at has been."""
        return self._only is not None and bool(self.found)

    def consider(self, now_us: int) -> None:
        """Look at what is asked now and was not before."""
        for opened in self._coordinator.state.prompts:
            if opened.number > self._seen and not self.is_copy:
                self._seen = opened.number
                if self._only is not None and (self.found or not self._only(opened)):
                    continue
                outlooks = []
                for option in self._coordinator.options_of(opened):
                    if (outlook := self._try(opened, option, now_us)) is None:
                        return
                    outlooks.append(outlook)
                self.found.append((now_us, opened, tuple(outlooks)))

    @contextmanager
    def watching(self, world: World, ended: Callable[[], bool]) -> Iterator[Callable[[], bool]]:
        """Give what ends the run; a copy tells what it saw when it has seen enough, and ends."""
        try:
            yield lambda: self._until(world, ended)
        finally:
            if self._copy is not None:
                self._copy.tell()

    def _until(self, world: World, ended: Callable[[], bool]) -> bool:
        if self._copy is None:
            return self.is_over or ended()
        ended()  # What people do by hand is done in a copy too.
        return self._copy.look(world)

    def _try(self, opened: OpenPrompt, option: str, now_us: int) -> Outlook | None:
        """Return what an answer leads to; None in a copy, which is to live it."""
        told: list[dict[str, Any]] = []
        for place in range(1 if option in (Option.HOLD, Option.ABORT) else self._repeats):
            reader, writer = os.pipe()
            child = os.fork()
            if child == 0:
                os.close(reader)
                self._copy = _Copy(
                    self._coordinator,
                    opened,
                    option,
                    chance=f"{self._seed}:{opened.number}:{place}",
                    writer=writer,
                    since_us=now_us,
                )
                return None
            os.close(writer)
            with os.fdopen(reader, "rb") as pipe:
                text = pipe.read()
            os.waitpid(child, 0)
            told.append(json.loads(text) if text else {"end": "too long", "soon": []})
        counted = Counter(one["end"] for one in told)
        ends = tuple((end, counted[end]) for end in ENDS if counted[end])
        return Outlook(option, counted["helps"], len(told), ends, tuple(told[0]["soon"]))


class ConsideredScript(OperatorScript):
    """The operator of a rehearsal, before whose answers every prompt is looked at."""

    look: LookAhead | None = None

    def react(self, state: State, now_us: int) -> tuple[PersonEvent, ...]:
        """Return what the operator does at this moment."""
        if self.look is not None:
            self.look.consider(now_us)
            if self.look.is_copy:
                return ()
        return super().react(state, now_us)


class _Copy:
    """Lives one answer in a forked process."""

    def __init__(
        self,
        coordinator: Coordinator,
        opened: OpenPrompt,
        option: str,
        *,
        chance: str,
        writer: int,
        since_us: int,
    ) -> None:
        self._coordinator = coordinator
        self._opened = opened
        self._option = option
        self._chance = chance
        self._writer = writer
        self._since_us = since_us
        self._told: dict[str, None] = {}
        self._is_answered = False
        self.end = ""

    def look(self, world: World) -> bool:
        """Answer first; then tell whether there is nothing more to be seen."""
        if not self._is_answered:
            self._is_answered = True
            world.reseed(self._chance)
            torque_nm = check_torque_nm(self._coordinator.plan, self._opened)
            who = self._opened.owner or WHO
            answer = PromptAnswered(0, self._opened.number, self._option, who, torque_nm)
            world.post(self._coordinator.hear(answer, world.now_us), self._coordinator.name)
        return self._has_seen(world.now_us)

    def tell(self) -> None:
        """Tell the first process what was seen, and end without a trace."""
        with suppress(OSError), os.fdopen(self._writer, "wb") as pipe:
            told = {"end": self.end or "too long", "soon": list(self._told)}
            pipe.write(json.dumps(told).encode())
        os._exit(0)  # Nothing of the copy may be flushed or closed: it is the first process's.

    def _has_seen(self, now_us: int) -> bool:
        state = self._coordinator.state
        if now_us <= self._since_us + SOON_US:
            for words in explain(self._coordinator.plan, state, now_us):
                doing, _, _ = words.doing.partition(" (recovering")
                if doing and not doing.startswith(("arming", "armed")):
                    self._told[f"{words.name} {doing.replace('_', ' ')}"] = None
        self.end = self.end or self._ended(state)
        is_over = state.phase in ("held", "aborted", "stopped", "complete")
        is_far = now_us > self._since_us + FAR_US
        return is_far or (bool(self.end) and (is_over or now_us > self._since_us + SOON_US))

    def _ended(self, state: State) -> str:
        opened = self._opened
        if state.phase in ("held", "stopped"):
            return "held"
        if state.phase == "aborted":
            return "aborted"
        span = self._coordinator.plan.nodes[opened.node].span
        lanes = self._coordinator.plan.spans[span].lanes if span >= 0 else (opened.lane,)
        if any(one.lane in lanes and one.number > opened.number for one in state.prompts):
            return "asks again"
        return "helps" if state.lanes[opened.lane].is_done(opened.node) else ""


def check_torque_nm(plan: Plan, opened: OpenPrompt) -> float | None:
    """Return the torque that a person would measure on good work by hand, None if none is."""
    record = plan.nodes[opened.node].record
    return record.target_nm if record is not None and record.target_nm else None


def as_document(found: list[tuple[int, OpenPrompt, tuple[Outlook, ...]]]) -> list[dict[str, Any]]:
    """Return what was foreseen, for the one JSON document of a verb."""
    return [
        {"at_us": at_us, "prompt": opened.number, "answers": [asdict(one) for one in outlooks]}
        for at_us, opened, outlooks in found
    ]
