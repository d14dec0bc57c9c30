"""Judge the core from outside: believes what it was told and what it sent, never what it remembers.

Only the phase of the procedure is read from its state. Units: ``*_us`` whole microseconds.
"""

from coordinator.core.effects import (
    Effect,
    Notify,
    SendDisarm,
    SendDo,
    SendHold,
    SendMakeReady,
    SendRelease,
)
from coordinator.core.events import (
    Act,
    CommandArmed,
    CommandFinished,
    CommandRefused,
    Event,
    OperatorActed,
    PartyHeld,
    PartyReady,
    PromptAnswered,
    SignalSeen,
)
from coordinator.core.plan import InterlockKind, Move, Plan

RESTING = ("held", "stopped", "aborted")
NEVER_ARRIVED = ("unknown", "expired", "no_lease")


class Judge:
    """Watches every turn and fails the test at the first broken promise."""

    def __init__(self, plan: Plan) -> None:
        parties = range(len(plan.parties))
        self.plan = plan
        self.phase = "idle"
        self.live: list[SendDo | None] = [None for _ in parties]
        self.armed = [False for _ in parties]
        self.hold_number = [0 for _ in parties]
        self.stood_number = [-1 for _ in parties]
        self.ready_number = [0 for _ in parties]
        self.may_move = [False for _ in parties]
        self.highest = 0
        self.signals: list[tuple[bool | None, int]] = [(None, 0) for _ in plan.signals]
        self.latched = [False for _ in plan.interlocks]
        self.inside = [-1 for _ in plan.zones]
        self.begun = [0 for _ in plan.nodes]
        self.answered: dict[int, str] = {}
        self.paired = tuple(
            node for one in plan.barriers if one.span >= 0 for node in one.next_nodes
        )

    def watch(self, event: Event, effects: tuple[Effect, ...], phase: str) -> None:
        """Judge one turn."""
        self._believe(event, phase)
        releases = [effect for effect in effects if isinstance(effect, SendRelease)]
        for effect in effects:
            match effect:
                case SendDo():
                    self._judge_do(event, effect)
                case SendRelease():
                    self._judge_release(event, effect, releases)
                case SendHold(party, number, _, _):
                    self.hold_number[party] = number
                    self.may_move[party] = False
                    self.armed[party] = False
                    self.highest = max(self.highest, number)
                case SendMakeReady(party, number, _):
                    assert number > self.highest, "a number is given out once"
                    self.ready_number[party] = number
                    self.highest = number
                case SendDisarm(party, _, _, _):
                    self.armed[party] = False
        if phase != self.phase and phase in RESTING:
            assert self.stood_number == self.hold_number, f"{phase} before every party stands"
        self._judge_answer(event, effects)
        self.phase = phase

    def is_good(self, interlock: int, now_us: int) -> bool:
        """Tell whether the signal of an interlock is true, known and fresh."""
        index = self.plan.interlocks[interlock].signal
        value, seen_us = self.signals[index]
        return value is True and now_us - seen_us <= self.plan.signals[index].max_age_us

    def _believe(self, event: Event, phase: str) -> None:
        match event:
            case SignalSeen(at_us, signal, value):
                self.signals[signal] = (value, at_us)
            case CommandArmed(_, party, command):
                live = self.live[party]
                if live is not None and live.command == command:
                    self.armed[party] = live.barrier >= 0 and self.may_move[party]
            case CommandFinished(_, party, command):
                self._leave_zones(party, command)
            case PartyHeld(_, party, number):
                self.stood_number[party] = max(self.stood_number[party], number)
            case PartyReady(_, party, number):
                if number == self.ready_number[party] > self.hold_number[party]:
                    self.may_move[party] = True
            case OperatorActed(at_us, Act.RESET):
                self.latched = [
                    latched and not self.is_good(index, at_us)
                    for index, latched in enumerate(self.latched)
                ]
            case OperatorActed(_, Act.RESTART | Act.START | Act.RESUME) | PromptAnswered():
                self.begun = [0 for _ in self.begun]
        if phase != "idle" and self.phase != "idle":
            for index, interlock in enumerate(self.plan.interlocks):
                if interlock.kind is InterlockKind.TRIP and not self.is_good(index, event.at_us):
                    self.latched[index] = True

    def _leave_zones(self, party: int, command: int) -> None:
        live = self.live[party]
        if live is not None and live.command == command and live.move.action != "stand_by":
            self.inside = [
                -1 if holder == party and zone != live.move.zone else holder
                for zone, holder in enumerate(self.inside)
            ]

    def _judge_do(self, event: Event, effect: SendDo) -> None:
        live = self.live[effect.party]
        if live is not None and live.command == effect.command:
            assert isinstance(event, CommandRefused), "repeated without the party's word"
            assert event.reason in NEVER_ARRIVED, "repeated although it arrived"
            assert event.command == effect.command
        else:
            assert effect.command > self.highest, "a number is given out once"
            self.highest = effect.command
            if effect.barrier < 0:
                self._count(effect)
        self.live[effect.party] = effect
        self.armed[effect.party] = False
        assert (
            effect.node not in self.paired
            or effect.barrier >= 0
            or (effect.move != self.plan.nodes[effect.node].move)
        ), "a pull was sent without its partner"
        self._judge_motion(event.at_us, effect.party, effect.node, effect.move)
        zone = effect.move.zone
        if zone >= 0:
            assert self.inside[zone] in (-1, effect.party), "two lanes in one zone"
            self.inside[zone] = effect.party

    def _judge_motion(self, now_us: int, party: int, node: int, move: Move) -> None:
        assert self.may_move[party], "a command for a party that was told to hold"
        assert not any(self.latched), "motion after a trip"
        if move.action == "stand_by":
            return
        excepted = [index for index, _ in self.plan.nodes[node].exceptions]
        for index, interlock in enumerate(self.plan.interlocks):
            if interlock.kind is not InterlockKind.PERMISSIVE and index not in excepted:
                assert self.is_good(index, now_us), f"motion under {interlock.name}"

    def _judge_release(
        self, event: Event, effect: SendRelease, releases: list[SendRelease]
    ) -> None:
        live = self.live[effect.party]
        assert live is not None
        assert live.command == effect.command
        assert live.barrier >= 0
        lanes = self.plan.barriers[live.barrier].lanes
        assert tuple(one.party for one in releases) == lanes, "somebody passes alone"
        assert {one.start_us for one in releases} == {effect.start_us}
        assert self.armed[effect.party], "released before it confirmed this very command"
        self.armed[effect.party] = False
        self._judge_motion(event.at_us, effect.party, live.node, live.move)
        self._count(live)

    def _count(self, effect: SendDo) -> None:
        node = effect.node
        if node < 0 or effect.move != self.plan.nodes[node].move:
            return
        self.begun[node] += 1
        allowed = 1 + sum(
            rule.attempts - 1
            for index, other in enumerate(self.plan.nodes)
            for rule in other.rules
            if index == node
            or 0 <= other.span == self.plan.nodes[node].span
            or 0 <= rule.again_from <= node <= index
        )
        assert self.begun[node] <= allowed, f"{self.plan.nodes[node].name} begun too often"

    def _judge_answer(self, event: Event, effects: tuple[Effect, ...]) -> None:
        if not isinstance(event, PromptAnswered):
            return
        if event.prompt in self.answered:
            assert all(isinstance(effect, Notify) for effect in effects), "answered twice"
        elif any(isinstance(one, Notify) and one.kind == "answered" for one in effects):
            self.answered[event.prompt] = event.option
