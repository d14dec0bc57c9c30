"""Say what the world may do next in a state: every answer, every fault, every person's act.

Invariants: PV14, what a party owes follows from the state alone; only going silent is remembered
beside it; PV15, everything that goes wrong costs one cause, everything that goes well is free;
PV16, what is left out, because another order leads to the same states, behaves as what stands for
it.
"""

from collections.abc import Iterator
from itertools import islice
from typing import NamedTuple

from coordinator.core.events import (
    Act,
    CommandArmed,
    CommandFaulted,
    CommandFinished,
    CommandInterrupted,
    CommandProgressed,
    CommandRefused,
    CommandStarted,
    Event,
    OperatorActed,
    PartyHeld,
    PartyLost,
    PartyReady,
    PartySeen,
    PromptAnswered,
    SignalSeen,
    TimePassed,
)
from coordinator.core.interlocks import unmet_to_start
from coordinator.core.plan import InterlockKind, Option, Plan
from coordinator.core.prompts import name_of, options_of
from coordinator.core.state import (
    AT_BARRIER,
    AT_WORK,
    ENDED,
    HOLDING,
    Doing,
    Lane,
    Phase,
    State,
    StepPhase,
    Timer,
)
from coordinator.core.turn import Turn
from coordinator.prove.alone import Alone, owes_hold
from coordinator.prove.by_itself import ByItself
from coordinator.prove.canonical import NOW_US
from coordinator.prove.own import Memory, Own
from coordinator.prove.stand_ins import (
    UNRULED,
    alike_faults,
    check_torque_nm,
)

PERSON = "somebody"
PUT_TOGETHER = (*HOLDING, Phase.HELD, Phase.RESTARTING)


class Node(NamedTuple):
    """A state of core and world together."""

    state: State
    silent: tuple[bool, ...]
    """Parties that answer nothing at present."""
    causes: int
    """How many causes have been spent."""
    memory: Memory = ()
    """Of what has happened, as far as the author's own properties ask."""

    def after(self, step: "Step", state: State, memory: Memory) -> "Node":
        """Return what a step leads to, the core having come to `state` by it."""
        silent = self.silent
        if step.silences:
            silent = (*silent[: step.lane], step.silences > 0, *silent[step.lane + 1 :])
        return Node(state, silent, self.causes + step.cost, memory)


class Step(NamedTuple):
    """Something that may happen next."""

    words: str
    events: tuple[Event, ...]
    lane: int = -1
    cost: int = 0
    silences: int = 0
    """1 the party goes silent, -1 it answers again."""
    state: State | None = None
    """The state to decide in, where a deadline was ended; else the node's own."""
    person: bool = False
    """A person ends the procedure; never counted as a way out by itself."""

    def begins_in(self, node: Node) -> State:
        """Return the state of the core in which the events of the step are decided."""
        return node.state if self.state is None else self.state


class Moves:
    """Everything that may happen in a plan."""

    def __init__(self, plan: Plan, *, is_modular: bool = True, own: Own | None = None) -> None:
        self._plan = plan
        self._is_modular = is_modular
        """False walks every combination of inner steps too; for small plans and for checking M3."""
        own = own or Own(plan)
        self._alone = Alone(plan, is_on=is_modular, has_own=bool(own.properties))
        self._by_itself = ByItself(plan, own, self._alone, is_on=is_modular)
        self._alike = tuple(alike_faults(node) for node in plan.nodes)
        self._watched = tuple(
            sorted(
                {
                    interlock.signal
                    for interlock in plan.interlocks
                    if interlock.kind is not InterlockKind.PERMISSIVE
                }
                | set(own.signals)
            )
        )

    def begin_events(self) -> tuple[Event, ...]:
        """Return what brings everybody and every signal up."""
        signals = [SignalSeen(NOW_US, i, True) for i in range(len(self._plan.signals))]
        parties = [PartySeen(NOW_US, i, 1, 0) for i in range(len(self._plan.parties))]
        return (*signals, *parties, OperatorActed(NOW_US, Act.START, PERSON))

    def after(self, node: Node, causes_max: int) -> Iterator[Step]:
        """Yield everything that may happen next without spending too many causes."""
        spent = node.causes >= causes_max
        return (one for one in self._after(node, spent) if node.causes + one.cost <= causes_max)

    def _after(self, node: Node, spent: bool) -> Iterator[Step]:
        """Yield what may happen next; once the causes are spent some that costs one is left out."""
        if node.state.phase in ENDED:
            return
        turn = Turn(self._plan, node.state, NOW_US)
        alone = self._alone.first(node.state, node.silent)
        if alone >= 0:
            yield from self._of_party(turn, node, alone, spent)
            return
        by_itself = self._by_itself.first(turn, node.silent, is_spent=spent)
        answered = self._alone.answering_later(turn, node.silent)
        for place in range(len(node.state.lanes)):
            if place == by_itself or (by_itself < 0 and place not in answered):
                yield from self._of_party(turn, node, place, spent)
        if not self._alone.is_getting_ready(node.state):
            yield from self._of_floor(node, spent)
        yield from self._of_people(turn, node, by_itself, spent)
        if not spent:
            yield from self._of_barriers(node)

    def forced(self, node: Node) -> Step | None:
        """Return what alone may happen next while all come to rest or get ready, if it is one.

        Only once the causes are spent; then it leads to nothing but the state after it (PV17).
        While all are held a person may also stop; that comes to the same after it. What holds them
        is put right so; the restart is no part of it.
        """
        if not self._is_modular or node.state.phase not in PUT_TOGETHER:
            return None
        found = tuple(islice(self._after(node, spent=True), 3))
        if not found or found[0].cost or found[0].person or not found[0].events:
            return None
        first, *more = found
        if node.state.phase == "held":
            event = first.events[0]
            is_restart = isinstance(event, OperatorActed) and event.act is Act.RESTART
            return None if is_restart or any(not one.person for one in more) else first
        return None if more else first

    def _of_party(self, turn: Turn, node: Node, place: int, spent: bool) -> Iterator[Step]:
        lane = node.state.lanes[place]
        if not lane.party.online:
            yield Step("is back on the bus", (PartySeen(NOW_US, place, 1, 0),), place)
        elif node.silent[place]:
            yield Step("answers again", (), place, silences=-1)
            yield from self._silent_ends(node, place, lane)
        else:
            yield from self._of_lane(turn, node, place, spent)

    def _of_lane(self, turn: Turn, node: Node, place: int, spent: bool) -> Iterator[Step]:
        lane = node.state.lanes[place]
        if owes_hold(node.state, lane):
            yield from self._coming_to_rest(turn, place, lane)
        elif lane.rest.held and lane.watch.timer is Timer.READY:
            yield Step("is ready", (PartyReady(NOW_US, place, lane.rest.control),), place)
        elif lane.command:
            yield from self._at_work(turn, place, lane, spent)
        if lane.watch.timer is Timer.GATE:
            watch = lane.watch._replace(timer_us=NOW_US)
            yield self._over(
                "has waited at the gate", node.state, place, lane._replace(watch=watch)
            )
        if spent:
            return
        busy = bool(lane.command) or owes_hold(node.state, lane)
        if not self._alone.only_puts_off(node.state):
            if busy or lane.watch.timer is Timer.READY:
                yield Step("goes silent", (), place, cost=1, silences=1)
            yield Step("is lost", (PartyLost(NOW_US, place),), place, cost=1)
        if lane.command:
            yield Step("starts anew", (PartySeen(NOW_US, place, 2, 0),), place, cost=1)

    def _coming_to_rest(self, turn: Turn, place: int, lane: Lane) -> Iterator[Step]:
        held = PartyHeld(NOW_US, place, lane.rest.control)
        if not lane.command:
            yield Step("stands", (held,), place)
            return
        broken = CommandInterrupted(NOW_US, place, lane.command)
        yield Step("breaks off and stands", (broken, held), place)
        if lane.phase is StepPhase.RUNNING and self._plan.nodes[lane.node].span >= 0:
            # Held between its release and its start; that it began, nobody has heard.
            never = CommandRefused(NOW_US, place, lane.command, "never_begun")
            yield Step("never began and stands", (never, held), place)
        if lane.unknown:
            lost = CommandInterrupted(NOW_US, place, lane.command, died=True)
            yield Step("knows nothing of it any more and stands", (lost, held), place)
        # Outside spans and zones, ending just in time is seen as ending just before the hold.
        if lane.phase in AT_WORK and not self._by_itself.is_at_home(lane):
            yield Step("ends in time and stands", (self._done(turn, place, lane), held), place)
            fault = CommandFaulted(NOW_US, place, lane.command, self._faults(turn, place, lane)[0])
            yield Step(f"fails ({fault.fault}) and stands", (fault, held), place, cost=1)

    def _at_work(self, turn: Turn, place: int, lane: Lane, spent: bool) -> Iterator[Step]:
        command = lane.command
        if lane.phase in AT_BARRIER:
            if lane.phase is StepPhase.ARMING:
                yield Step("is armed", (CommandArmed(NOW_US, place, command),), place)
            yield self._refusal(place, command)
            return
        barrier = self._alone.starts_at(turn, place)
        if barrier >= 0:
            yield Step("starts", (CommandStarted(NOW_US, place, command, 0),), place)
            late_us = self._plan.barriers[barrier].window_us + 1
            late = CommandStarted(NOW_US, place, command, late_us)
            yield Step("starts too late", (late,), place, cost=1)
            return
        yield Step("is done", (self._done(turn, place, lane),), place)
        if spent or lane.doing is Doing.STAND:
            return  # Standing by moves nothing: nothing can go wrong with it but silence.
        for fault in self._faults(turn, place, lane):
            event = CommandFaulted(NOW_US, place, command, fault)
            yield Step(f"fails: {fault}", (event,), place, cost=1)
        if lane.phase is not StepPhase.RUNNING:
            yield self._refusal(place, command)
        if lane.doing is Doing.STEP and self._plan.nodes[lane.node].windows:
            bad = CommandFinished(NOW_US, place, command, ())
            yield Step("ends outside its window", (bad,), place, cost=1)
        yield Step("holds by itself", self._holding(place, lane), place, cost=1)
        yield from self._too_long(turn.state, place, lane)
        yield from self._out_of_balance(turn, place, lane)

    def _too_long(self, state: State, place: int, lane: Lane) -> Iterator[Step]:
        if lane.watch.timeout_us:
            watch = lane.watch._replace(timeout_us=NOW_US)
            yield self._over("takes too long", state, place, lane._replace(watch=watch), cost=1)

    def _out_of_balance(self, turn: Turn, place: int, lane: Lane) -> Iterator[Step]:
        span = self._plan.nodes[lane.node].span
        if span < 0 or self._plan.spans[span].balance_nm <= 0 or lane.doing is not Doing.STEP:
            return
        both = turn.plan.spans[span].lanes
        first = turn.plan.barriers[turn.plan.spans[span].opens].next_nodes
        if tuple(turn.lane(i).node for i in both) != first or not turn.lane(both[0]).command:
            return
        other = next(i for i in both if i != place)
        far_nm = turn.plan.spans[span].balance_nm + 1
        events = (
            CommandProgressed(NOW_US, other, turn.lane(other).command, 0),
            CommandProgressed(NOW_US, place, lane.command, far_nm),
        )
        yield Step("pulls out of balance", events, place, cost=1)

    def _silent_ends(self, node: Node, place: int, lane: Lane) -> Iterator[Step]:
        """While a party is silent, the deadlines about its answers may end."""
        if lane.watch.timer not in (Timer.NONE, Timer.GATE):
            # All asks at once: between them it could only answer, as it could before the first.
            watch = lane.watch._replace(timer_us=NOW_US, asks=self._plan.timing.asks)
            yield self._over("says nothing", node.state, place, lane._replace(watch=watch))
        if lane.rest.hold_us:
            rest = lane.rest._replace(hold_us=NOW_US)
            words = "does not say that it stands"
            yield self._over(words, node.state, place, lane._replace(rest=rest))

    @staticmethod
    def _over(words: str, state: State, place: int, ended: Lane, cost: int = 0) -> Step:
        """Return that one deadline of a lane ends and no other; `ended` is the lane by then."""
        lanes = (*state.lanes[:place], ended, *state.lanes[place + 1 :])
        time = (TimePassed(NOW_US),)
        return Step(words, time, place, cost, state=state._replace(lanes=lanes))

    def _of_floor(self, node: Node, spent: bool) -> Iterator[Step]:
        for signal in self._watched:
            is_good = node.state.signals[signal].value is True
            if is_good and spent:
                continue
            name = self._plan.signals[signal].name
            if is_good:
                bad = SignalSeen(NOW_US, signal, False)
                yield Step(f"{name} turns bad", (bad,), cost=1)
            else:
                good = SignalSeen(NOW_US, signal, True)
                yield Step(f"{name} is good again", (good,))

    def _of_people(self, turn: Turn, node: Node, by_itself: int, spent: bool) -> Iterator[Step]:
        for opened in node.state.prompts:
            if by_itself >= 0 and opened.lane != by_itself:
                continue
            for option in options_of(turn, opened):
                torque_nm = check_torque_nm(turn, opened)
                event = PromptAnswered(NOW_US, opened.number, option, PERSON, torque_nm)
                ends = option in (Option.HOLD, Option.ABORT, Option.LEAVE)
                asked = name_of(self._plan, opened.prompt)
                words = f"a person answers {option} to {asked}"
                yield Step(words, (event,), opened.lane, person=ends)
        if node.state.phase == "held":
            unmet = unmet_to_start(turn)
            if any(node.state.tripped):
                yield Step("a person resets", (OperatorActed(NOW_US, Act.RESET, PERSON),))
            elif not unmet:
                # With anything unmet it would be refused, which changes nothing.
                yield Step("a person restarts", (OperatorActed(NOW_US, Act.RESTART, PERSON),))
        if node.state.phase == "running" and not spent:
            # Nothing goes wrong by it; it costs a cause so that it does not come for ever.
            yield Step("a person pauses", (OperatorActed(NOW_US, Act.PAUSE, PERSON),), cost=1)
        if node.state.phase == "paused":
            yield Step("a person resumes", (OperatorActed(NOW_US, Act.RESUME, PERSON),))
        if node.state.phase in ("held", "paused"):
            stop = OperatorActed(NOW_US, Act.STOP, PERSON)
            yield Step("a person stops", (stop,), person=True)

    def _of_barriers(self, node: Node) -> Iterator[Step]:
        for barrier, meeting in enumerate(node.state.meetings):
            if not meeting.deadline_us:
                continue
            name = self._plan.barriers[barrier].name
            meetings = node.state.meetings
            ended = meeting._replace(deadline_us=NOW_US)
            state = node.state._replace(
                meetings=(*meetings[:barrier], ended, *meetings[barrier + 1 :])
            )
            time = (TimePassed(NOW_US),)
            yield Step(f"time is over at {name}", time, cost=1, state=state)

    def _done(self, turn: Turn, place: int, lane: Lane) -> CommandFinished:
        results: tuple[tuple[str, float], ...] = ()
        if lane.doing is Doing.STEP and lane.node >= 0:
            windows = turn.node(lane.node).windows
            results = tuple((one.result, (one.least + one.most) / 2) for one in windows)
        return CommandFinished(NOW_US, place, lane.command, results)

    def _faults(self, turn: Turn, place: int, lane: Lane) -> tuple[str, ...]:
        """Return the faults that a party may report.

        Faults for which the step has the same rule differ by name alone. So of those that have
        not happened to it yet the first stands for all (PV16).
        """
        if lane.doing is not Doing.STEP or lane.node < 0:
            return (UNRULED,)
        happened = {fault for node, fault, _ in lane.attempts if node == lane.node}
        found = []
        for alike in self._alike[lane.node]:
            found += [fault for fault in alike if fault in happened]
            found += [fault for fault in alike if fault not in happened][:1]
        return tuple(found)

    @staticmethod
    def _holding(place: int, lane: Lane) -> tuple[Event, ...]:
        return (
            CommandInterrupted(NOW_US, place, lane.command),
            PartyHeld(NOW_US, place, 0),
        )

    @staticmethod
    def _refusal(place: int, command: int) -> Step:
        event = CommandRefused(NOW_US, place, command, "unready")
        return Step("refuses", (event,), place, cost=1)
