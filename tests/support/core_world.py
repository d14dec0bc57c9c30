"""A world around the bare core: time that calls on it when due, and parties that can behave.

Units: ``*_us`` whole microseconds.
"""

from collections.abc import Callable

from coordinator.core import begin, decide, next_deadline_us
from coordinator.core.effects import (
    Effect,
    RaisePrompt,
    SendAsk,
    SendDisarm,
    SendDo,
    SendHold,
    SendMakeReady,
    SendRelease,
    WithdrawPrompt,
)
from coordinator.core.events import (
    Act,
    CommandAccepted,
    CommandArmed,
    CommandFinished,
    CommandInterrupted,
    CommandRefused,
    CommandStarted,
    Event,
    OperatorActed,
    PartyHeld,
    PartyReady,
    PartySeen,
    PromptAnswered,
    SignalSeen,
    TimePassed,
)
from coordinator.core.plan import Plan
from tests.support.core_judge import Judge

ENDED = ("complete", "stopped", "aborted")
SAME_TIME_MAX = 8
"""Calls at one moment; a deadline that stands still after that many is stuck."""
_BEAT_US = 300_000


class BehavingParty:
    """Does what it is told at once, and answers for everything that it was ever told."""

    def __init__(self, plan: Plan, index: int) -> None:
        self.plan = plan
        self.index = index
        self.boot = 1
        self.live: SendDo | None = None
        self.ended: dict[int, Callable[[int], Event]] = {}
        """How each command that began has ended or will end."""
        self.told: dict[int, bool] = {}
        """Commands whose good end was reported."""

    def take(self, effect: Effect) -> list[Callable[[int], Event]]:
        """Return what it reports about an effect, each to be told the time."""
        me = self.index
        match effect:
            case SendDo(_, command):
                self.live = effect
                if effect.barrier >= 0:
                    return [lambda at_us: CommandArmed(at_us, me, command)]
                return [lambda at_us: CommandAccepted(at_us, me, command), self._end(effect)]
            case SendRelease(_, command, start_us):
                live = self.live
                if live is None or live.command != command:
                    return [lambda at_us: CommandRefused(at_us, me, command, "unknown")]
                started = lambda at_us: CommandStarted(at_us, me, command, start_us)  # noqa: E731
                return [started, self._end(live)]
            case SendDisarm():
                self.live = None
            case SendHold(_, number):
                live, self.live = self.live, None
                held = lambda at_us: PartyHeld(at_us, me, number)  # noqa: E731
                if live is None or live.command in self.told:
                    return [held]
                cut = live.command
                self.ended[cut] = lambda at_us: CommandInterrupted(at_us, me, cut)
                return [self.ended[cut], held]
            case SendMakeReady(_, number):
                return [lambda at_us: PartyReady(at_us, me, number)]
            case SendAsk(_, command):
                return [self._word_about(command)]
        return []

    def _word_about(self, command: int) -> Callable[[int], Event]:
        me = self.index
        if command in self.ended:
            return self.ended[command]
        if self.live is not None and self.live.command == command:
            return lambda at_us: CommandArmed(at_us, me, command)
        return lambda at_us: CommandRefused(at_us, me, command, "unknown")

    def _end(self, done: SendDo) -> Callable[[int], Event]:
        windows = self.plan.nodes[done.node].windows if done.node >= 0 else ()
        results = tuple(sorted((w.result, (w.least + w.most) / 2) for w in windows))

        def event(at_us: int) -> Event:
            self.told[done.command] = True
            return CommandFinished(at_us, self.index, done.command, results)

        self.ended[done.command] = event
        return event


class CoreWorld:
    """The core, the time, and what lies on the table; every turn is judged."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.state = begin(plan)
        self.now_us = 0
        self.judge = Judge(plan)
        self.parties = [BehavingParty(plan, index) for index in range(len(plan.parties))]
        self.unanswered: list[tuple[int, Callable[[int], Event]]] = []
        self.sent: list[list[SendDo]] = [[] for _ in plan.parties]
        self.hold_numbers: list[list[int]] = [[0] for _ in plan.parties]
        self.ready_numbers: list[list[int]] = [[] for _ in plan.parties]
        self.events: list[Event] = []
        self.effects: list[Effect] = []
        self.prompts: dict[int, tuple[str, ...]] = {}

    def feed(self, event: Event) -> tuple[Effect, ...]:
        """Let the core decide about one event; judge it; lay its effects on the table."""
        self.state, effects = decide(self.plan, self.state, event)
        hash(self.state)
        self.judge.watch(event, effects, self.state.phase)
        self.events.append(event)
        self.effects += effects
        for effect in effects:
            self._lay_out(effect)
        return effects

    def wait(self, duration_us: int, *, beating: bool = True) -> None:
        """Let time pass; the core is called on at each of its deadlines, as it asks for."""
        end_us = self.now_us + duration_us
        while self.now_us < end_us:
            step_us = min(end_us, self.now_us + _BEAT_US)
            self._call_when_due(step_us)
            self.now_us = step_us
            if beating:
                self.beat()

    def wait_for_deadline(self) -> None:
        """Let time pass to the next deadline, with nobody saying anything."""
        due_us = next_deadline_us(self.plan, self.state)
        if due_us is not None:
            self._call_when_due(max(due_us, self.now_us))

    def beat(self) -> None:
        """Everybody shows that it is there; signals keep their value."""
        for party in self.parties:
            self.see(party.index)
        for index, (value, _) in enumerate(self.judge.signals):
            if value is not None:
                self.feed(SignalSeen(self.now_us, index, value))

    def see(self, party: int) -> None:
        """A party's heartbeat."""
        self.feed(PartySeen(self.now_us, party, self.parties[party].boot, 0))

    def act(self, act: Act) -> tuple[Effect, ...]:
        return self.feed(OperatorActed(self.now_us, act, "Ada"))

    def answer_one(self) -> bool:
        """Tell the core the oldest thing that a behaving party has to report."""
        if not self.unanswered:
            return False
        _, report = self.unanswered.pop(0)
        self.feed(report(self.now_us))
        return True

    def all_good(self) -> None:
        """Every party is there and every signal true."""
        for index in range(len(self.plan.signals)):
            self.feed(SignalSeen(self.now_us, index, True))
        for party in self.parties:
            self.see(party.index)

    def behave(self, turns_max: int = 4_000) -> str:
        """From now on everything behaves and a person answers; return the phase it ends in."""
        self.all_good()
        for _ in range(turns_max):
            if self.state.phase in ENDED:
                break
            if self.answer_one():
                continue
            if self.prompts:
                number = min(self.prompts)
                self.prompts.pop(number)
                self.feed(PromptAnswered(self.now_us, number, "again", "Ada"))
            elif self.state.phase == "held":
                self.act(Act.RESET)
                self.act(Act.RESTART)
            elif self.state.phase == "idle":
                self.act(Act.START)
            elif self.state.phase == "paused":
                self.act(Act.RESUME)
            else:
                self.wait(_BEAT_US)
        return self.state.phase

    def _call_when_due(self, until_us: int) -> None:
        stood_still = 0
        while True:
            due_us = next_deadline_us(self.plan, self.state)
            if due_us is None or due_us > until_us:
                break
            stood_still = stood_still + 1 if due_us <= self.now_us else 0
            assert stood_still < SAME_TIME_MAX, "a deadline is stuck"
            self.now_us = max(due_us, self.now_us)
            self.feed(TimePassed(self.now_us))

    def _lay_out(self, effect: Effect) -> None:
        match effect:
            case RaisePrompt(number, _, _, _, _, options):
                self.prompts[number] = options
            case WithdrawPrompt(number):
                self.prompts.pop(number, None)
            case SendDo(party):
                self.sent[party].append(effect)
            case SendHold(party, number):
                self.hold_numbers[party].append(number)
            case SendMakeReady(party, number):
                self.ready_numbers[party].append(number)
        if isinstance(
            effect, SendDo | SendRelease | SendDisarm | SendHold | SendMakeReady | SendAsk
        ):
            party = effect.party
            if isinstance(effect, SendHold):
                # It stands before it does anything else that it was told.
                self.unanswered = [one for one in self.unanswered if one[0] != party]
            reports = self.parties[party].take(effect)
            self.unanswered += [(party, report) for report in reports]
