"""Whatever parties, signals, persons and time do, the core keeps what it promises."""

from collections.abc import Callable

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule

from coordinator.core.events import (
    Act,
    CommandAccepted,
    CommandArmed,
    CommandFaulted,
    CommandFinished,
    CommandInterrupted,
    CommandProgressed,
    CommandRefused,
    CommandStarted,
    Event,
    MessagesMissed,
    PartyHeld,
    PartyLost,
    PartyReady,
    PromptAnswered,
    SignalSeen,
)
from coordinator.core.plan import Plan
from coordinator.sequence import load
from tests.support.core_world import ENDED, CoreWorld
from tests.support.examples import times
from tests.support.pair_plan import pair_plan
from tests.support.sequence_files import SEQUENCES

FAULTS = ("not_reached", "not_seated", "leak", "out_of_step", "socket_not_seated")
REASONS = (
    "unknown",
    "expired",
    "no_lease",
    "duplicate",
    "interlock",
    "held",
    "busy",
    "outdated",
)
Report = Callable[[int, int, int], Event]
REPORTS: tuple[Report, ...] = (
    CommandAccepted,
    CommandArmed,
    lambda at, party, command: CommandStarted(at, party, command, at),
    lambda at, party, command: CommandStarted(at, party, command, at - 90_000),
    lambda at, party, command: CommandProgressed(at, party, command, 100),
    lambda at, party, command: CommandProgressed(at, party, command, 900),
    lambda at, party, command: CommandFinished(at, party, command, ()),
    CommandInterrupted,
)
ANY = st.integers(0, 10_000)


class CoreMachine(RuleBasedStateMachine):
    """Parties that obey, lie, repeat themselves and fall silent around the bare core."""

    def plan(self) -> Plan:
        """Return what is run."""
        return pair_plan()

    @initialize(beats=st.integers(0, 60), started=st.integers(0, 9))
    def set_up(self, beats: int, started: int) -> None:
        """Mostly a run that is well under way, sometimes one that has not begun."""
        self.world = CoreWorld(self.plan())
        if started:
            self.world.all_good()
            self.world.act(Act.START)
            self.obey(beats)

    @rule(count=st.integers(1, 12))
    def obey(self, count: int) -> None:
        """Parties do as they are told for a while."""
        for _ in range(count):
            if not self.world.answer_one():
                self.world.wait(300_000)

    @rule(party=ANY, report=st.sampled_from(REPORTS), back=st.sampled_from((1, 1, 1, 2, 3)))
    def report(self, party: int, report: Report, back: int) -> None:
        """A party says anything about its present command or an older one."""
        self._about(party, back, report)

    @rule(party=ANY, fault=st.sampled_from(FAULTS), back=st.sampled_from((1, 1, 1, 2)))
    def fault(self, party: int, fault: str, back: int) -> None:
        """A command ends in a fault."""
        self._about(party, back, lambda at, who, command: CommandFaulted(at, who, command, fault))

    @rule(party=ANY, reason=st.sampled_from(REASONS), back=st.sampled_from((1, 1, 1, 2)))
    def refuse(self, party: int, reason: str, back: int) -> None:
        """A command is refused."""
        self._about(party, back, lambda at, who, command: CommandRefused(at, who, command, reason))

    @rule(party=ANY, back=st.sampled_from((1, 1, 2, 3)), by_itself=st.booleans())
    def stand(self, party: int, back: int, by_itself: bool) -> None:
        """A party says that it stands: for the latest hold, an older one, or by itself."""
        who = self._party(party)
        numbers = self.world.hold_numbers[who]
        number = 0 if by_itself else numbers[-min(back, len(numbers))]
        self.world.feed(PartyHeld(self.world.now_us, who, number))

    @rule(party=ANY, back=st.sampled_from((1, 1, 2)))
    def ready(self, party: int, back: int) -> None:
        """A party says that it is ready: for the latest word, or late."""
        who = self._party(party)
        numbers = self.world.ready_numbers[who]
        if numbers:
            number = numbers[-min(back, len(numbers))]
            self.world.feed(PartyReady(self.world.now_us, who, number))

    @precondition(lambda self: self.world.unanswered)
    @rule(index=ANY)
    def lose_a_message(self, index: int) -> None:
        """One report never arrives."""
        self.world.unanswered.pop(index % len(self.world.unanswered))

    @precondition(lambda self: self.world.unanswered)
    @rule(index=ANY)
    def answer_out_of_turn(self, index: int) -> None:
        """One report overtakes the others."""
        _, report = self.world.unanswered[index % len(self.world.unanswered)]
        self.world.feed(report(self.world.now_us))

    @rule(party=st.integers(-1, 20), by_party=st.booleans())
    def miss_messages(self, party: int, by_party: bool) -> None:
        """Numbers are missing among a party's messages, or the party says so of ours."""
        who = self._party(party) if party >= 0 else -1
        self.world.feed(MessagesMissed(self.world.now_us, who, 2, by_party))

    @rule(index=ANY)
    def repeat_a_report(self, index: int) -> None:
        """An old report arrives once more."""
        kinds = CommandAccepted | CommandFinished | CommandArmed | CommandInterrupted
        kept = [event for event in self.world.events if isinstance(event, kinds)]
        if kept:
            event = kept[index % len(kept)]
            again = type(event)(self.world.now_us, event.party, event.command)
            self.world.feed(again)

    @rule(signal=ANY, value=st.sampled_from((True, True, True, False, None)))
    def signal(self, signal: int, value: bool | None) -> None:
        """A floor signal changes."""
        count = len(self.world.plan.signals)
        self.world.feed(SignalSeen(self.world.now_us, signal % count, value))

    @rule()
    def all_good(self) -> None:
        """Everybody is there, every signal true."""
        self.world.all_good()

    @rule(act=st.sampled_from((*Act, Act.RESTART, Act.RESET, Act.START, Act.HOLD)))
    def act(self, act: Act) -> None:
        """A person acts, wise or not."""
        if act not in (Act.STOP, Act.ABORT) or len(self.world.events) % 5 == 0:
            self.world.act(act)

    @rule(signal=ANY, value=st.sampled_from((True, False, None)))
    def hold_and_go_on(self, signal: int, value: bool | None) -> None:
        """A person holds, a signal changes while everybody stands, the person restarts."""
        self.world.act(Act.HOLD)
        self.obey(12)
        self.signal(signal, value)
        self.world.act(Act.RESET)
        self.world.act(Act.RESTART)
        self.obey(10)

    @rule(back=st.integers(0, 2), option=st.sampled_from(("again", "again", "hold", "abort", "x")))
    def answer(self, back: int, option: str) -> None:
        """A person answers a prompt that is, was or will be open; then says the opposite."""
        latest = max(self.world.prompts, default=1)
        for word in (option, "hold" if option == "again" else "again"):
            number = max(1, latest - back)
            self.world.feed(PromptAnswered(self.world.now_us, number, word, "Ada"))

    @rule(party=ANY)
    def lose(self, party: int) -> None:
        """A party is gone from the bus."""
        self.world.feed(PartyLost(self.world.now_us, self._party(party)))

    @rule(party=ANY, anew=st.booleans())
    def see(self, party: int, anew: bool) -> None:
        """A party is seen, perhaps after it has started anew."""
        who = self._party(party)
        self.world.parties[who].boot += anew
        self.world.see(who)

    @rule(duration_us=st.sampled_from((1, 200_000, 700_000, 3_000_000, 25_000_000)))
    def wait(self, duration_us: int) -> None:
        """Time passes while everybody still beats."""
        self.world.wait(duration_us)

    @rule()
    def wait_for_deadline(self) -> None:
        """Time passes in silence."""
        self.world.wait_for_deadline()

    def teardown(self) -> None:
        """Once everything behaves, every run ends."""
        if hasattr(self, "world"):
            assert self.world.behave() in ENDED, self.world.state

    def _party(self, party: int) -> int:
        return party % len(self.world.plan.parties)

    def _about(self, party: int, back: int, report: Report) -> None:
        who = self._party(party)
        sent = self.world.sent[who]
        if sent:
            command = sent[-min(back, len(sent))].command
            self.world.feed(report(self.world.now_us, who, command))


class ShippedMachine(CoreMachine):
    """The same around a sequence that is shipped."""

    _plan = load(SEQUENCES / "makeup_8.yaml").plan

    def plan(self) -> Plan:
        """Return what is run."""
        return self._plan


_CHECKS = [HealthCheck.too_slow, HealthCheck.filter_too_much]
TestCore = CoreMachine.TestCase
TestCore.settings = settings(
    max_examples=times(800),
    stateful_step_count=40,
    deadline=None,
    print_blob=True,
    suppress_health_check=_CHECKS,
)
TestShipped = ShippedMachine.TestCase
TestShipped.settings = settings(
    max_examples=times(60),
    stateful_step_count=40,
    deadline=None,
    print_blob=True,
    suppress_health_check=_CHECKS,
)
