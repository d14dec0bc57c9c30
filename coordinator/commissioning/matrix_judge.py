"""Tick the cause-and-effect matrix from a journal: what was decided, event by event.

Only what one interlock did alone is judged: while two are active nobody knows whose effect it was.
What a cell asks for must have been tried; where nothing was tried there is no tick.

Units: ``*_us`` whole microseconds since the run began.
Invariants: CM8, no tick without an attempt: a start that nobody asked for was not refused.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Literal

from coordinator.commissioning.matrix import (
    FALSE,
    SILENT,
    UNKNOWN,
    Cell,
    EffectKind,
    excepts,
    matrix_of,
)
from coordinator.core.effects import Effect, Notify, SendDo, SendHold, SendRelease
from coordinator.core.events import (
    Act,
    CommandFinished,
    Event,
    OperatorActed,
    PartyHeld,
    SignalSeen,
)
from coordinator.core.plan import Plan
from coordinator.core.state import State

Decided = tuple[Event, tuple[Effect, ...], State]
SLACK_US = 500_000
"""Chosen: beyond the time that the cell gives its parties to confirm that they stand."""
OWN_US = 1_000_000
"""Chosen: how much earlier an arm may find by itself that a signal is too old."""
STILL_US = 1_000_000
"""Chosen: what has not moved for this long after clearing will not move by itself."""
GOES_ON_US = 2_000_000
"""Chosen: a hold would have come with the signal itself."""


@dataclass(frozen=True, slots=True)
class Tick:
    """One cell, as one moment of one journal shows it."""

    cell: Cell
    result: Literal["passed", "failed"]
    at_us: int
    event: int
    """Which of the journal, from 1."""
    text: str


@dataclass(slots=True)
class _Episode:
    """One interlock, active alone."""

    interlock: int
    cause: str
    onset_us: int
    was_idle: bool
    moved: bool = False
    """An arm moved that nothing excepts."""
    held: list[int] = field(default_factory=list)
    """Arms that have confirmed since that they stand."""
    is_hold_judged: bool = False
    is_tried: bool = False
    """Somebody asked for motion."""
    cleared_us: int | None = None
    stood: bool = False
    """It cleared while the procedure was held."""
    is_reset: bool = False


def judge(
    plan: Plan, decided: Iterable[Decided], state: State, *, written: Plan | None = None
) -> tuple[Tick, ...]:
    """Return every tick of a journal.

    Args:
        plan: Of the run.
        decided: Every event with its effects and the state after it, in order.
        state: Before the first of them.
        written: As in the files, where the run went by a hurried plan; it gives the cells.
    """
    judging = _Judging(plan, state, matrix_of(plan if written is None else written))
    for event, effects, after in decided:
        judging.take(event, effects, after)
    return tuple(judging.ticks)


class _Judging:
    def __init__(self, plan: Plan, state: State, cells: Iterable[Cell]) -> None:
        self.ticks: list[Tick] = []
        self._plan = plan
        self._before = state
        self._cells = {(one.interlock, one.cause, one.effect, one.action): one for one in cells}
        self._seen: list[tuple[bool | None, int]] = [(None, -1)] * len(plan.signals)
        self._was_good = [False] * len(plan.interlocks)
        self._episode: _Episode | None = None
        self._going: dict[tuple[int, int, int], str] = {}
        """(interlock, party, command) that goes on all the same -> its action."""
        self._moved_us: dict[int, int] = {}
        """When an arm last moved that an interlock would hold."""
        self._held_us: dict[int, int] = {}
        self._arms = [index for index, party in enumerate(plan.parties) if party.is_arm]
        self._at = 0
        self._now_us = 0

    def take(self, event: Event, effects: tuple[Effect, ...], after: State) -> None:
        self._at += 1
        self._now_us = event.at_us
        if isinstance(event, SignalSeen):
            self._seen[event.signal] = event.value, event.at_us
        good = [self._is_good(index) for index in range(len(self._plan.interlocks))]
        self._note_motion(event)
        self._follow(good, after)
        self._look_at_exceptions(event, effects, good)
        if self._episode is not None:
            self._watch(self._episode, event, effects, after)
        self._was_good, self._before = good, after

    def _is_good(self, interlock: int) -> bool:
        signal = self._plan.interlocks[interlock].signal
        value, seen_us = self._seen[signal]
        return value is True and self._now_us - seen_us <= self._plan.signals[signal].max_age_us

    def _follow(self, good: list[bool], after: State) -> None:
        """Begin an episode when one alone becomes active; end it when another does as well."""
        bad = [index for index, is_good in enumerate(good) if not is_good]
        episode = self._episode
        if episode is not None:
            if any(index != episode.interlock for index in bad) or after.overrides:
                self._episode = episode = None
            elif bad and episode.cleared_us is not None:
                self._episode = episode = None  # Once more: another episode.
        if episode is None and len(bad) == 1 and self._was_good[bad[0]] and not after.overrides:
            self._episode = self._begun(bad[0])
        elif episode is not None and not bad and episode.cleared_us is None:
            self._clear(episode)

    def _begun(self, interlock: int) -> _Episode:
        value, seen_us = self._seen[self._plan.interlocks[interlock].signal]
        cause = SILENT if seen_us < self._now_us else FALSE if value is False else UNKNOWN
        episode = _Episode(interlock, cause, self._now_us, was_idle=self._before.phase == "idle")
        if interlock in self._moved_us:
            # An arm that watches the floor by itself may have been quicker than we.
            episode.moved = self._now_us - self._moved_us[interlock] <= OWN_US
        episode.held = [
            arm for arm, at_us in self._held_us.items() if self._now_us - at_us <= OWN_US
        ]
        return episode

    def _note_motion(self, event: Event) -> None:
        """Remember which arms move, or have come to rest just now."""
        if isinstance(event, PartyHeld) and event.party in self._arms:
            self._held_us[event.party] = event.at_us
        for party, lane in enumerate(self._before.lanes):
            is_at_work = lane.command and lane.phase == "running" and lane.node >= 0
            if not is_at_work or party not in self._arms or self._before.phase != "running":
                continue
            for index in range(len(self._plan.interlocks)):
                if not excepts(self._plan, lane.node, index):
                    self._moved_us[index] = event.at_us

    def _watch(
        self, episode: _Episode, event: Event, effects: tuple[Effect, ...], after: State
    ) -> None:
        self._look_at_hold(episode, event, effects, after)
        begun = tuple(self._begun_motion(episode, effects))
        if episode.cleared_us is None:
            self._look_while_active(episode, event, effects, begun)
        else:
            self._look_when_clear(episode, event, effects, begun)

    def _look_at_hold(
        self, episode: _Episode, event: Event, effects: tuple[Effect, ...], after: State
    ) -> None:
        if not episode.moved or episode.is_hold_judged:
            return
        if isinstance(event, PartyHeld) and event.party in self._arms:
            episode.held.append(event.party)
        since_us = self._now_us - episode.onset_us
        all_stand = all(arm in episode.held for arm in self._arms)
        told = any(isinstance(one, SendHold) for one in effects)
        late = since_us > self._plan.timing.hold_us + SLACK_US
        is_expected = self._expected(episode, EffectKind.HOLD)
        if is_expected and (all_stand or late):
            text = (
                f"both arms stood after {since_us / 1e6:.2f} s" if all_stand else "not both stood"
            )
            self._tick(episode, EffectKind.HOLD, is_seen=all_stand, text=text)
        elif is_expected is False and (told or since_us >= GOES_ON_US):
            text = "told to hold" if told else f"went on for {since_us / 1e6:.1f} s"
            self._tick(episode, EffectKind.HOLD, is_seen=told, text=text)
        else:
            return
        episode.is_hold_judged = True

    def _look_at_exceptions(
        self, event: Event, effects: tuple[Effect, ...], good: list[bool]
    ) -> None:
        """Follow every step that the file lets go on, also while several are active."""
        bad = [index for index, is_good in enumerate(good) if not is_good]
        for party, lane in enumerate(self._before.lanes):
            move = self._plan.nodes[lane.node].move if lane.node >= 0 else None
            if not lane.command or lane.phase != "running" or move is None:
                continue
            for index in bad:
                is_false = self._seen[self._plan.interlocks[index].signal][0] is False
                if is_false and excepts(self._plan, lane.node, index):
                    self._going[index, party, lane.command] = move.action
        if any(isinstance(one, SendHold) for one in effects):
            self._fail_exceptions(bad)
        if isinstance(event, CommandFinished):
            for key, action in list(self._going.items()):
                if key[1:] == (event.party, event.command):
                    del self._going[key]
                    self._tick_exception(key[0], action, is_seen=True, text="went on to its end")

    def _fail_exceptions(self, bad: list[int]) -> None:
        """Judge a hold: it is against an exception only where nothing else could have asked."""
        nodes = list(self._movers())
        is_ours = bool(bad) and all(
            excepts(self._plan, node, index) for node in nodes for index in bad
        )
        for (index, _, _), action in self._going.items() if is_ours else ():
            self._tick_exception(index, action, is_seen=False, text="held")
        self._going = {}

    def _movers(self) -> Iterator[int]:
        """Yield the nodes of everything that moves, or is about to."""
        for lane in self._before.lanes:
            if not lane.command or lane.node < 0:
                continue
            node = lane.node
            if lane.phase in ("arming", "armed"):
                barrier = self._plan.barriers[self._plan.nodes[node].barrier]
                node = barrier.next_nodes[barrier.nodes.index(node)]
            if node >= 0:
                yield node

    def _tick_exception(self, index: int, action: str, *, is_seen: bool, text: str) -> None:
        episode = _Episode(index, FALSE, self._now_us, was_idle=False)
        self._tick(episode, EffectKind.GOES_ON, is_seen=is_seen, text=text, action=action)

    def _begun_motion(self, episode: _Episode, effects: tuple[Effect, ...]) -> Iterator[str]:
        """Yield every motion that leaves now and that the file does not except."""
        for one in effects:
            if isinstance(one, SendRelease):
                node = self._before.lanes[one.party].node
            elif isinstance(one, SendDo) and one.barrier < 0:
                node = one.node
            else:
                continue
            if node >= 0 and not excepts(self._plan, node, episode.interlock):
                yield self._plan.nodes[node].name

    def _look_while_active(
        self,
        episode: _Episode,
        event: Event,
        effects: tuple[Effect, ...],
        begun: tuple[str, ...],
    ) -> None:
        if self._is_attempt(event):
            episode.is_tried = True
            refused = _refused(effects)
            text = "refused" if refused else "not refused"
            self._tick(episode, EffectKind.NO_START, is_seen=refused, text=text)
        if begun:
            text = f"begun: {', '.join(begun)}"
            self._tick(episode, EffectKind.NO_MOTION, is_seen=False, text=text)

    def _clear(self, episode: _Episode) -> None:
        episode.cleared_us = self._now_us
        episode.stood = self._before.phase == "held"
        if episode.is_tried:
            text = "asked for, and none left"
            self._tick(episode, EffectKind.NO_MOTION, is_seen=True, text=text)

    def _look_when_clear(
        self,
        episode: _Episode,
        event: Event,
        effects: tuple[Effect, ...],
        begun: tuple[str, ...],
    ) -> None:
        """Judge latch and stillness; a restart that is taken ends the episode."""
        if not episode.stood:
            self._episode = None
            return
        still_us = self._now_us - (episode.cleared_us or 0)
        is_restart = isinstance(event, OperatorActed) and event.act is Act.RESTART
        if begun and not is_restart:
            text = f"begun by itself: {', '.join(begun)}"
            self._tick(episode, EffectKind.STILL, is_seen=False, text=text)
            self._episode = None
        if isinstance(event, OperatorActed) and event.act is Act.RESET:
            episode.is_reset = True
        if not is_restart or not self._is_attempt(event):
            return
        refused = _refused(effects)
        if not episode.is_reset and not episode.was_idle:
            text = "restart refused before a reset" if refused else "restart taken without a reset"
            self._tick(episode, EffectKind.LATCH, is_seen=refused, text=text)
        if not refused:
            if still_us >= STILL_US:
                text = f"nothing moved for {still_us / 1e6:.1f} s"
                self._tick(episode, EffectKind.STILL, is_seen=True, text=text)
            self._episode = None

    def _is_attempt(self, event: Event) -> bool:
        """Tell whether somebody asks for motion where nothing else stands against it."""
        if not isinstance(event, OperatorActed):
            return False
        wanted = {Act.START: "idle", Act.RESTART: "held"}.get(event.act)
        return wanted == self._before.phase and all(
            lane.party.online for lane in self._before.lanes
        )

    def _expected(self, episode: _Episode, effect: EffectKind) -> bool | None:
        name = self._plan.interlocks[episode.interlock].name
        cell = self._cells.get((name, episode.cause, effect, ""))
        return None if cell is None else cell.expected

    def _tick(
        self, episode: _Episode, effect: EffectKind, *, is_seen: bool, text: str, action: str = ""
    ) -> None:
        name = self._plan.interlocks[episode.interlock].name
        cell = self._cells.get((name, episode.cause, effect, action))
        if cell is not None:
            result: Literal["passed", "failed"] = "passed" if is_seen is cell.expected else "failed"
            self.ticks.append(Tick(cell, result, self._now_us, self._at, text))


def _refused(effects: Iterable[Effect]) -> bool:
    return any(isinstance(one, Notify) and one.kind == "act_refused" for one in effects)
