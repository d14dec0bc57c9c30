"""Play an operator from a script: acts at their time or situation, answers to prompts in order.

Units: ``*_us`` whole microseconds since the run began.
Invariants: LV4, an entry of an answer file counts once unless it says `always`.
"""

from collections.abc import Callable, Iterable, Sequence
from typing import Protocol, TypeVar

from coordinator.core.events import (
    Act,
    ModeSet,
    OperatorActed,
    PersonEvent,
    PromptAnswered,
    StepAllowed,
)
from coordinator.core.plan import Mode, Plan
from coordinator.core.prompts import name_of
from coordinator.core.state import OpenPrompt, State
from coordinator.live.coordinator import Coordinator
from coordinator.live.explain import waiting_for_step
from coordinator.wire.messages import Message

PATIENCE_US = 1_000_000
"""Chosen: a person who presses again waits about a second."""
ABSENT_US_MAX = 120_000_000
"""Chosen: whoever is not there by then does not come; the restart is then refused with its name."""
CALLS_MAX = 100
"""Acts and answers at one moment; a script that wants more goes round in a circle."""


SCRIPT = "script"
"""Who starts, and sets the mode that was asked for, in a run that nobody attends."""
UNATTENDED = "nobody: the run is unattended"
"""Who holds a run in which a prompt stays without an answer; never a person's name."""


class ScriptedAnswer(Protocol):
    """One answer of a script; it may have `after_us`, `always` and `torque_nm` as well."""

    @property
    def prompt(self) -> str:
        """Name of the prompt."""

    @property
    def answer(self) -> str:
        """The option chosen."""

    @property
    def by(self) -> str:
        """Who answers."""


class ScriptedAct(Protocol):
    """One act of a script, at a time or after a state was come to; it may have `always`."""

    @property
    def act(self) -> Act | str:
        """What is done."""

    @property
    def when(self) -> str | None:
        """State of the procedure to wait for; None to go by `at_us`."""

    @property
    def at_us(self) -> int | None:
        """Moment of the run; None to go by `when`."""

    @property
    def after_us(self) -> int:
        """How long after the state was come to."""

    @property
    def by(self) -> str:
        """Who acts."""


class ScriptedStep(Protocol):
    """A person's word for the next step, given whenever the run waits for one."""

    @property
    def by(self) -> str:
        """Who gives it."""

    @property
    def after_us(self) -> int:
        """How long after the run began to wait."""

    @property
    def times(self) -> int | None:
        """How many words; None for one at every wait."""


_Entry = TypeVar("_Entry")


class StuckScript(Exception):  # noqa: N818 (it says what happened)
    """A script acts without end at one moment."""


class OperatorScript:
    """A person played by a script.

    Args:
        plan: Gives prompts their names.
        answers: In the order in which they are used, for each prompt name.
        acts: In the order in which they are used, for each state waited for.
        starts: Start the run once every party is there; by default if `acts` has no start.
        mode: Set before the start.
        steps: Who allows steps outside automatic mode, each used up before the next; without
            them no step begins by itself, and the run waits for a person.
        settle_us: How long everybody must have been there before it starts: an arm that has just
            come has not heard the floor yet, and would hold by itself.
        missing: Says who is not ready for a restart; a restart waits for them, up to a bound.
    """

    def __init__(
        self,
        plan: Plan,
        answers: Iterable[ScriptedAnswer] = (),
        acts: Iterable[ScriptedAct] = (),
        *,
        starts: bool | None = None,
        mode: Mode = Mode.AUTOMATIC,
        steps: Iterable[ScriptedStep] = (),
        settle_us: int = 0,
        missing: Callable[[], tuple[str, ...]] = lambda: (),
    ) -> None:
        self._missing = missing
        self._settle_us = settle_us
        self._there_us: int | None = None
        """Since when everybody is there; None while somebody is not."""
        self._plan = plan
        self._answers = list(answers)
        self._acts = list(acts)
        scripted = any(Act(act.act) is Act.START for act in self._acts)
        self._starts = not scripted if starts is None else starts
        self._started_us: int | None = None
        self._mode = mode
        """The mode still to be set; automatic for none."""
        self._steps = list(steps)
        self._stepped = 0
        """Words given from the first of `steps`."""
        self._waiting: tuple[tuple[int, ...], int] = (), 0
        """Lanes that wait for a step, and since when."""
        self._phase = ""
        self._phase_us = 0
        self._prompts: dict[int, int] = {}
        """Open prompt number -> since when it is seen."""
        self._answered: dict[int, None] = {}
        self._next_us: int | None = 0
        self._calm = ""
        """The phase in which nothing but time brings anything on, empty for none."""

    def take(self, answers: Iterable[ScriptedAnswer], acts: Iterable[ScriptedAct]) -> None:
        """Add to what is answered, before what was to be answered anyway, and to what is done."""
        self._answers = [*answers, *self._answers]
        self._acts += acts
        self._next_us, self._calm = 0, ""

    def react(self, state: State, now_us: int) -> tuple[PersonEvent, ...]:
        """Return what the operator does at this moment; call again after each change of state."""
        is_calm = state.phase == self._calm and not state.prompts and state.mode is Mode.AUTOMATIC
        if is_calm and (self._next_us is None or now_us < self._next_us):
            return ()  # Most changes of the state are none of the operator's business.
        self._look(state, now_us)
        due = self._due(state, now_us)
        ready = [(at_us, call, entry) for at_us, call, entry in due if at_us <= now_us]
        self._next_us = min((at_us for at_us, _, _ in due if at_us > now_us), default=None)
        self._calm = "" if ready or not self._is_calm(state) else state.phase
        if not ready:
            return ()
        # One at a time: what follows may change with the state that this one leads to.
        _, call, entry = min(ready, key=lambda item: item[0])
        self._use(call, entry, now_us)
        return (call,)

    def next_us(self) -> int | None:
        """Return when the operator wants to be asked again, by what was last seen."""
        return self._next_us

    def _is_calm(self, state: State) -> bool:
        """Tell whether what is due hangs on the phase, the prompts and the time alone."""
        if state.phase == "idle" or state.prompts:
            return False
        if self._mode is not Mode.AUTOMATIC or state.mode is not Mode.AUTOMATIC:
            return False
        waiting = next((one for one in self._acts if one.when == state.phase), None)
        return waiting is None or Act(waiting.act) is not Act.RESTART

    def _look(self, state: State, now_us: int) -> None:
        if state.phase != self._phase:
            self._phase, self._phase_us = state.phase, now_us
        if not all(lane.party.online for lane in state.lanes):
            self._there_us = None
        elif self._there_us is None:
            self._there_us = now_us
        self._prompts = {
            prompt.number: self._prompts.get(prompt.number, now_us) for prompt in state.prompts
        }
        self._answered = {number: None for number in self._answered if number in self._prompts}

    def _due(self, state: State, now_us: int) -> list[tuple[int, PersonEvent, object]]:
        """Return (when, call, entry of the script) for everything that may come next."""
        due = [*self._of_mode(state), *self._of_steps(state, now_us)]
        if (
            self._starts
            and self._mode is Mode.AUTOMATIC
            and state.phase == "idle"
            and self._there_us is not None
        ):
            again_us = 0 if self._started_us is None else self._started_us + PATIENCE_US
            again_us = max(again_us, self._there_us + self._settle_us if self._settle_us else 0)
            due.append((again_us, OperatorActed(0, Act.START, "script"), None))
        waits_for_state = False
        for entry in self._acts:
            deed = OperatorActed(0, Act(entry.act), entry.by)
            if entry.at_us is not None:
                due.append((entry.at_us, deed, entry))
            elif entry.when == state.phase and not waits_for_state:
                waits_for_state = True
                due.append((self._deed_us(deed, entry, state, now_us), deed, entry))
        for prompt in state.prompts:
            answer = self._answer_to(prompt)
            if answer is not None:
                # Counted from when the prompt was seen: people need time to look.
                at_us = self._prompts[prompt.number] + int(getattr(answer, "after_us", 0))
                torque_nm = getattr(answer, "torque_nm", None)
                call = PromptAnswered(0, prompt.number, str(answer.answer), answer.by, torque_nm)
                due.append((at_us, call, answer))
        return due

    def _deed_us(self, deed: OperatorActed, entry: ScriptedAct, state: State, now_us: int) -> int:
        """Return when a deed comes; nobody restarts a cell in which somebody is still missing.

        Whoever is not ready once the bound has passed is named by the core, which refuses, or by
        the hold that follows.
        """
        is_early = now_us < self._phase_us + ABSENT_US_MAX
        is_restart = deed.act is Act.RESTART
        if is_restart and is_early and (self._missing() or not _is_everybody_there(state)):
            return max(self._phase_us + entry.after_us, now_us + PATIENCE_US)
        return self._phase_us + entry.after_us

    def _of_mode(self, state: State) -> list[tuple[int, PersonEvent, object]]:
        """Return the word for the mode that was asked for, until it is set."""
        if self._mode is Mode.AUTOMATIC or state.phase != "idle":
            return []
        return [(0, ModeSet(0, self._mode, SCRIPT), None)]

    def _of_steps(self, state: State, now_us: int) -> list[tuple[int, PersonEvent, object]]:
        """Return the word for the next step, if the file has one and the run waits for it."""
        lanes = waiting_for_step(self._plan, state) if self._steps else ()
        if lanes != self._waiting[0]:
            self._waiting = lanes, now_us
        if not lanes:
            return []
        step = self._steps[0]
        # In manual mode one lane after another: at a barrier the others need their word as well.
        lane = lanes[0] if state.mode is Mode.MANUAL else -1
        at_us = self._waiting[1] + step.after_us
        return [(at_us, StepAllowed(0, lane, step.by), step)]

    def _answer_to(self, prompt: OpenPrompt) -> ScriptedAnswer | None:
        if prompt.number in self._answered:
            return None
        name = name_of(self._plan, prompt.prompt)
        return next((answer for answer in self._answers if answer.prompt == name), None)

    def _use(self, call: PersonEvent, entry: object, now_us: int) -> None:
        always = bool(getattr(entry, "always", False))
        match call:
            case PromptAnswered(prompt=number):
                self._answered[number] = None
                if not always:
                    self._answers = _without(self._answers, entry)
            case ModeSet():
                self._mode = Mode.AUTOMATIC
            case StepAllowed():
                self._stepped += 1
                times = self._steps[0].times
                if times is not None and self._stepped >= times:
                    del self._steps[0]
                    self._stepped = 0
            case OperatorActed() if entry is None:
                self._started_us = now_us
            case OperatorActed():
                # The next act for the same state counts its time from this one.
                self._phase_us = now_us + (PATIENCE_US if always else 0)
                if not always or getattr(entry, "at_us", None) is not None:
                    self._acts = _without(self._acts, entry)


def _is_everybody_there(state: State) -> bool:
    is_known = all(signal.value is not None for signal in state.signals)
    return is_known and all(lane.party.online for lane in state.lanes)


def _without(entries: Sequence[_Entry], used: object) -> list[_Entry]:
    return [entry for entry in entries if entry is not used]


class OperatedCoordinator:
    """A coordinator with its scripted operator beside it, as one party without I/O."""

    def __init__(self, coordinator: Coordinator, script: OperatorScript) -> None:
        self.coordinator = coordinator
        self.script = script
        self.name = coordinator.name

    def receive(self, message: Message, now_us: int, retained: bool = False) -> list[Message]:
        """Take in one message, then let the operator react."""
        messages = self.coordinator.receive(message, now_us, retained)
        return messages + self.react(now_us)

    def advance(self, now_us: int) -> list[Message]:
        """Let time pass for both."""
        return self.coordinator.advance(now_us) + self.react(now_us)

    def next_us(self) -> int | None:
        """Return when either wants to be advanced, cell's clock."""
        script_us, next_us = self.script.next_us(), self.coordinator.next_us()
        if script_us is None:
            return next_us
        script_us += self.coordinator.origin_us
        return script_us if next_us is None else min(script_us, next_us)

    def react(self, now_us: int) -> list[Message]:
        """Let the operator act until nothing more is due at this moment.

        Raises:
            StuckScript: it never ends.
        """
        return play(self.script, self.coordinator, now_us)


def play(script: OperatorScript, coordinator: Coordinator, now_us: int) -> list[Message]:
    """Let a script act until nothing more is due at this moment; return what is to be sent.

    Raises:
        StuckScript: it never ends.
    """
    messages: list[Message] = []
    for _ in range(CALLS_MAX):
        calls = script.react(coordinator.state, now_us - coordinator.origin_us)
        if not calls:
            return messages
        for call in calls:
            messages += coordinator.hear(call, now_us)
    raise StuckScript(f"the script acts more than {CALLS_MAX} times at {now_us} us")
