"""Obey the wire contract on behalf of one simulated party, whatever its activities do.

The shell owns the party's state, its lease, its ledger and its reports; a bench owns the steel.

Units: ``*_us`` whole microseconds of the cell's clock.
Invariants: A4, a command is done at most once, also over restarts of its party; B3, nobody begins
before or without its release; H2, whoever is at work does not say that it stands; H3, whoever
starts anew stands until it is made ready; L1, nothing begins without a fresh lease; L2, whoever has
no lease comes to rest; L4, an arm begins nothing while a trip that it has heard of is not good.
"""

from collections.abc import Sequence
from dataclasses import replace
from random import Random
from typing import Self

from coordinator.lifecycles import ARM
from coordinator.wire.messages import (
    Accepted,
    Armed,
    ArmStateName,
    Ask,
    AskState,
    Body,
    Disarm,
    Do,
    Faulted,
    Finished,
    FloorSignals,
    Held,
    Hold,
    Interrupted,
    Lease,
    MakeReady,
    Message,
    PartyState,
    Progressed,
    Ready,
    RefusalReason,
    Refused,
    Release,
    SimulatedFacts,
    Started,
)
from coordinator.wire.ordinals import Gaps, Ordinals
from sim_arms.activities.bench import Unfit
from sim_arms.activity import Activity, ActivityFault, Done, HoldAsked
from sim_arms.admission import excess, forgery, number_of, staleness
from sim_arms.causes import Cause
from sim_arms.facts import FactExchange
from sim_arms.ledger import Entry, Ledger
from sim_arms.watch import Watch
from sim_arms.workbench import STAND_BY, Settings, Work, Workbench, stand_by

HEARTBEAT_US = 1_000_000
PROGRESS_US = 1_000_000
START_LATE_US_MAX = 500_000
"""A start time further back than this is refused: the other side began without us."""


class Shell:
    """One party's side of the contract."""

    def __init__(
        self, settings: Settings, bench: Workbench, ledger: Ledger, random: Random
    ) -> None:
        self.settings = settings
        self.bench = bench
        self.ledger = ledger
        self.random = random
        self.state: ArmStateName = "held"
        self.epoch = ledger.epoch
        self._work: Work | None = None
        self._watch = Watch(settings.watched, settings.signal_us_max)
        self._sequence = 0
        self._ordinals = Ordinals()
        self._gaps = Gaps()
        self._now_us = 0
        self._heartbeat_us = 0
        self._out: list[Message] = []
        self._changed = True
        self._ready_number = 0
        self._facts = FactExchange(bench)
        self._facts.recall(ledger.store.load_metal())

    @property
    def name(self) -> str:
        """The party's name."""
        return self.settings.name

    @property
    def answers_to(self) -> tuple[str, ...]:
        """The subjects whose commands it obeys."""
        return (self.settings.name,)

    def receive(self, message: Message, now_us: int, retained: bool = False) -> list[Message]:
        """Take one message in and return what is to be sent, in order."""
        self._now_us = now_us
        self._run_due(now_us)
        self._notice_gap(message, retained)
        match message.body:
            case _ if forgery(message) is not None:
                pass  # WR5: not answered either, so that nobody learns from us what is in force.
            case Lease() | FloorSignals() if retained:
                pass  # WR9: nothing is decided on the broker's memory.
            case Lease() as lease:
                if message.epoch >= self.epoch:
                    self.epoch = message.epoch
                    self._watch.take_lease(message, lease, now_us)
            case FloorSignals() as signals:
                self._watch.take_signals(message, signals, now_us)
                self._run_due(now_us)
            case SimulatedFacts(facts):
                if told := self._facts.take(message.source, facts):
                    self._say(SimulatedFacts(told))
            case Do() | Release() | Disarm() | Hold() | MakeReady() | Ask() | AskState():
                self._obey(message, retained)
        return self._flush()

    def advance(self, now_us: int) -> list[Message]:
        """Do everything that is due by `now_us` and return what is to be sent, in order."""
        self._now_us = now_us
        self._run_due(now_us)
        if now_us >= self._heartbeat_us:
            self._changed = True
        return self._flush()

    def next_us(self) -> int | None:
        """Return when `advance` must be called next."""
        due_us, heartbeat_us = self._due_us(), self._heartbeat_us
        return heartbeat_us if due_us is None or heartbeat_us < due_us else due_us

    def connected(self, now_us: int) -> list[Message]:
        """Say how the party stands, and ask the other simulated ones for the steel."""
        self._now_us = now_us
        self._changed = True
        for facts in self._facts.greeting():
            self._say(SimulatedFacts(facts))
        return self._flush()

    def will(self) -> Message:
        """Return what the broker says for this party when its link breaks."""
        settings = self.settings
        gone = PartyState(online=False, boot=settings.boot, simulated=settings.simulated)
        return self._message(gone)

    def farewell(self, now_us: int) -> Message:
        """Return what the party says itself before it leaves on purpose."""
        self._now_us = now_us
        return self.will()

    def reseed(self, seed: int | str) -> None:
        """Draw what is yet to come by chance anew."""
        self.random.seed(f"{seed}:start")
        self.bench.reseed(seed)

    def reborn(self, now_us: int) -> Self:
        """Return this party after its process died and started anew; only its ledger survives."""
        if self._work is not None:
            self._work.activity.close()
        settings = replace(self.settings, boot=self.settings.boot + 1)
        self.bench.wake()
        born = type(self)(settings, self.bench, Ledger(self.ledger.store), self.random)
        born._now_us = born._heartbeat_us = now_us
        return born

    def add_causes(self, causes: Sequence[Cause]) -> None:
        """Let causes act that were not known before."""
        self.bench.add_causes(causes)

    # -- commands ------------------------------------------------------------------------------

    def _obey(self, message: Message, retained: bool) -> None:
        body = message.body
        if isinstance(body, Do | Release) and self._is_known(body):
            # Said even to an expired or old one: a bare refusal would read as "not done".
            self._refuse(body.command, "duplicate")
            self._repeat(body.command)
            return
        refusal = staleness(message, self.epoch, self._now_us, retained)
        if refusal is not None:
            self._refuse(number_of(body), *refusal)
            return
        self.epoch = message.epoch
        match body:
            case Do():
                self._take_do(body)
            case Release():
                self._take_release(body)
            case Disarm(command):
                self._take_disarm(command)
            case Hold(reason, number) if self._is_current(number):
                self._hold(reason, number)
            case MakeReady(number) if self._is_current(number):
                self._make_ready(number)
            case Ask(command):
                self._repeat(command)
            case AskState():
                self._changed = True

    def _notice_gap(self, message: Message, retained: bool) -> None:
        """Tell at once how the party stands if messages to it are missing; nothing else follows."""
        if not retained and forgery(message) is None and self._gaps.take(message):
            self._changed = True

    def _is_known(self, body: Do | Release) -> bool:
        if isinstance(body, Release) and self._is_armed(body.command):
            return self._work is not None and self._work.due_us is not None
        return self.ledger.report_of(body.command) is not None

    def _is_armed(self, command: int) -> bool:
        work = self._work
        return self.state == "armed" and work is not None and work.do.command == command

    def _take_do(self, do: Do) -> None:
        moves = do.action != STAND_BY
        if do.command <= self.ledger.last_obeyed:
            self._refuse(do.command, "outdated", f"obeyed {self.ledger.last_obeyed} already")
        elif self.state != "idle":
            self._refuse(do.command, "unready", self._why_unready())
        elif (lack := self._watch.lacking(self._now_us, signals=moves)) is not None:
            self._refuse(do.command, *lack)
        else:
            try:
                activity = self._begin(do)
            except Unfit as unfit:
                self._refuse(do.command, "unfit", str(unfit))
                return
            self._work = Work(do, activity, moves=moves)
            if do.barrier is None:
                self._start(Accepted(do.command), self._now_us)
            else:
                self._move("arm")
                self._record(Armed(do.command))

    def _take_release(self, release: Release) -> None:
        work = self._work
        if work is None or not self._is_armed(release.command):
            reason: RefusalReason = (
                "outdated" if release.command < self.ledger.last_obeyed else "unready"
            )
            self._refuse(release.command, reason, f"not armed for it: {self._why_unready()}")
        elif (late_us := self._now_us - release.start_us) > START_LATE_US_MAX:
            self._refuse(release.command, "expired", f"start time passed {late_us} us ago")
        elif (lack := self._watch.lacking(self._now_us, signals=work.moves)) is not None:
            self._refuse(release.command, *lack)
        else:
            latency_us = self.random.randint(0, self.settings.latency_us_max)
            work.due_us = max(release.start_us, self._now_us) + latency_us

    def _take_disarm(self, command: int) -> None:
        if self._is_armed(command):
            self._drop_armed()
            self._move("disarm")
        elif self.ledger.report_of(command) is not None:
            self._repeat(command)  # It began after all: say what became of it.
        else:
            self.ledger.use_up(command)  # Its `Do` may still be on the way; it must not arm.
            self._refuse(command, "unknown")

    def _is_current(self, number: int) -> bool:
        """Refuse a hold or a make-ready from before something that was obeyed; 0 is always now."""
        if 0 < number < self.ledger.last_obeyed:
            self._refuse(number, "outdated", f"obeyed {self.ledger.last_obeyed} already")
            return False
        self.ledger.use_up(number)
        return True

    def _make_ready(self, number: int) -> None:
        if not ARM.may(self.state, "make_ready"):
            self._refuse(number, "unready", self._why_unready())
        elif self.state == "held" and 0 < number == self._ready_number:
            # It was obeyed once; since then the party has held by itself, and stays so.
            self._refuse(number, "duplicate")
        else:
            self._ready_number = number
            self._move("make_ready")
            self._say(Ready(number))

    def _repeat(self, command: int) -> None:
        report = self.ledger.report_of(command)
        self._say(Refused(command, "unknown") if report is None else report)

    def _begin(self, do: Do) -> Activity:
        if do.action == STAND_BY:
            return stand_by()
        cap_nm = min(self.settings.torque_nm_max, self._watch.torque_nm_max)
        if (too_much := excess(do.parameters, cap_nm)) is not None:
            raise Unfit(too_much)
        self.bench.limit_speed(self._watch.speed_share_max)
        return self.bench.begin(do.action, do.parameters, do.on_hold)

    # -- work ----------------------------------------------------------------------------------

    def _due_us(self) -> int | None:
        """When the command in hand needs attention: its wait, its progress, its watch."""
        work = self._work
        if work is None:
            return None
        if self.state == "armed":
            lapse_us = self._watch.lapse_us(signals=work.moves)
            return lapse_us if work.due_us is None else min(work.due_us, lapse_us)
        due_us = work.progress_us if work.due_us is None else min(work.progress_us, work.due_us)
        if self.state == "holding":
            return due_us
        return min(due_us, self._watch.lapse_us(signals=work.moves))

    def _run_due(self, now_us: int) -> None:
        """Run what is due, in its own order; each turn moves a due time on or ends the work."""
        while (due_us := self._due_us()) is not None and due_us <= now_us:
            work = self._work
            if work is None:
                return
            lapse_us = self._watch.lapse_us(signals=work.moves)
            if self.state != "holding" and lapse_us <= due_us:
                lack = self._watch.lacking(due_us, signals=work.moves)
                self._hold("no fresh lease" if lack is None else lack[1])
            elif self.state == "armed":
                # The party's own measurement: a driver that wakes late starts late, and says so.
                self._start(Started(work.do.command, now_us), now_us)
            elif work.due_us is not None and work.due_us <= due_us:
                self._step(work, due_us)
            else:
                work.progress_us = due_us + PROGRESS_US
                self._say(Progressed(work.do.command))

    def _start(self, report: Accepted | Started, at_us: int) -> None:
        if (work := self._work) is None:
            return
        self._move("begin")
        self._record(report)
        work.progress_us = at_us + PROGRESS_US
        self._step(work, at_us)

    def _step(self, work: Work, at_us: int, hold: HoldAsked | None = None) -> None:
        """Let the activity go on to its next wait, or to its end."""
        command = work.do.command
        if hold is None and work.wait is not None and work.wait.torque_nm is not None:
            felt = work.wait
            self._say(Progressed(command, felt.torque_nm, felt.pressure_pa, felt.angle_rad))
            work.progress_us = at_us + PROGRESS_US
        self.bench.tell_time(at_us)
        ending: Finished | Faulted | Interrupted | None = None
        try:
            work.wait = next(work.activity) if hold is None else work.activity.throw(hold)
            work.due_us = at_us + max(1, round(work.wait.duration_s * 1e6))
        except StopIteration as stop:
            done: Done = stop.value
            ending = Finished(command, done.results, done.trace)
        except ActivityFault as fault:
            ending = Faulted(command, fault.kind, fault.evidence, fault.trace)
        except HoldAsked as rest:
            ending = Interrupted(command, rest.evidence, rest.trace)
        if changes := self._facts.changes():
            self._say(SimulatedFacts(changes))  # First: no report runs ahead of the steel.
        if changes or ending is not None:
            # Before the ledger: what metal has done, no death of a process undoes.
            self.ledger.store.keep_metal(self._facts.metal())
        if ending is not None:
            self._end(ending)

    def _end(self, report: Finished | Faulted | Interrupted) -> None:
        work, self._work = self._work, None
        self._record(report)
        if self.state == "holding" and work is not None:
            self._move("stand")
            self._say(Held(work.hold_reason, work.hold_number))
        else:
            self._move("end")

    def _hold(self, reason: str, number: int = 0) -> None:
        work = self._work
        if self.state == "holding" and work is not None:
            # `Held` follows as soon as it is at rest, and answers the latest hold.
            if number:
                work.hold_reason, work.hold_number = reason, number
            return
        if self.state == "running" and work is not None:
            self._move("hold")
            work.hold_reason, work.hold_number = reason, number
            self._step(work, self._now_us, HoldAsked(work.do.on_hold))
            return
        if self.state == "armed":
            # Said before `Held`: released, nobody else can know that it did not begin.
            self._out += self._drop_armed()
        self._move("stand")
        self._say(Held(reason, number))

    def _drop_armed(self) -> list[Message]:
        """Write down that the armed command is never begun; return the report of that."""
        work, self._work = self._work, None
        if work is None:
            return []
        work.activity.close()
        report = self._message(Refused(work.do.command, "never_begun"))
        self.ledger.record(report)
        return [report]

    # -- saying --------------------------------------------------------------------------------

    def _move(self, trigger: str) -> None:
        self.state = ARM.after(self.state, trigger)  # type: ignore[assignment]  # its states are our words
        self._changed = True

    def _why_unready(self) -> str:
        """Return what the party waits for before it takes a command."""
        if self._work is not None:
            do = self._work.do
            return f"the party is {self.state}, at {do.action} (command {do.command})"
        waits = ": it waits to be made ready" if self.state == "held" else ""
        return f"the party is {self.state}{waits}"

    def _refuse(self, command: int, reason: RefusalReason, detail: str = "") -> None:
        self._say(Refused(command, reason, detail))

    def _record(self, report: Entry) -> None:
        message = self._message(report)
        self.ledger.record(message)
        self._out.append(message)

    def _say(self, body: Body) -> None:
        self._out.append(self._message(body))

    def _message(self, body: Body) -> Message:
        self._sequence += 1
        name = self.settings.name
        ordinal = self._ordinals.next(name, body)
        return Message(name, name, self._sequence, self.epoch, self._now_us, body, ordinal=ordinal)

    def _flush(self) -> list[Message]:
        """Return what there is to say, and how the party stands if that changed."""
        if self._changed:
            self._changed = False
            self._heartbeat_us = self._now_us + HEARTBEAT_US
            self._say(self._party_state())
        out, self._out = self._out, []
        return out

    def _party_state(self) -> PartyState:
        return PartyState(
            online=True,
            boot=self.settings.boot,
            state=self.state,
            simulated=self.settings.simulated,
            running=0 if self._work is None else self._work.do.command,
            last_command=self.ledger.last_ended,
            last_outcome=self.ledger.last_outcome,
            tool=self.bench.tool,
            missed=sum(self._gaps.missed.values()),
        )
