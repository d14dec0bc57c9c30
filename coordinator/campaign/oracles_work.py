"""Judge the work itself: torques, rounds, zones, the load overhead, and what complete must mean.

Units: ``*_us`` whole microseconds; ``*_nm`` newton metre.
"""

from collections.abc import Mapping

from coordinator.campaign.board import Command
from coordinator.campaign.ground import PULLING
from coordinator.campaign.judge import Judge, Oracle
from coordinator.core.effects import RaisePrompt, WriteRecord
from coordinator.wire.messages import (
    Accepted,
    Finished,
    Message,
    SimulatedFacts,
    Started,
    Value,
)

LIFTING = ("bring_length", "stab_length", "land_length", "take_string", "lift_length")
"""What the hoist does with a load above or at the joint."""
STRING_MOVERS = (*LIFTING, "set_down_string")
PARKED = "park"
TORQUE_STEP = 1.001


class Zoned(Oracle):
    """Z: never two arms in one zone."""

    def __init__(self, judge: Judge) -> None:
        """Every zone is empty."""
        super().__init__(judge)
        self._inside: dict[str, str] = {}

    def reported(self, now_us: int, message: Message) -> None:
        """Who begins in a zone enters it; who ends well elsewhere has left it."""
        body, party = message.body, message.subject
        if not isinstance(body, Accepted | Started | Finished):
            return
        command = self.board.command(party, body.command)
        if command is None or not command.moves:
            return
        zone = self.ground.zones.get(command.action, "")
        if isinstance(body, Finished):
            if not zone and command.ended_us == now_us:
                for name in [n for n, inside in self._inside.items() if inside == party]:
                    del self._inside[name]
        elif zone and command.begun_us == now_us:
            other = self._inside.setdefault(zone, party)
            if other != party:
                text = f"{party} begins {command.step} in {zone}, where {other} is"
                self.judge.report("Z1", command.action, text)


class Torqued(Oracle):
    """T: opposite bolts, round by round, never above the target of the joint."""

    def __init__(self, judge: Judge) -> None:
        """No bolt carries anything."""
        super().__init__(judge)
        self._reached: dict[int, float] = {}
        self._results: dict[tuple[str, int], float] = {}

    def ordered(self, now_us: int, message: Message, command: Command) -> None:
        """A torque asked for must be one of the joint's, and its round must have come."""
        for name, value in command.parameters.items():
            if not name.startswith("torque") or not isinstance(value, int | float):
                continue
            most_nm = self.ground.torque_nm_max
            if not 0.0 < value <= most_nm:
                text = f"{command.step}: {name} is {value}, at most {most_nm}"
                self.judge.report("T1", command.action, text)
        torque, bolt = command.parameters.get("torque"), command.parameters.get("bolt")
        if command.action == "pull" and isinstance(torque, float) and isinstance(bolt, int):
            lower = [target for target in self.ground.rounds_nm if target * TORQUE_STEP < torque]
            least = min((self._reached.get(one, 0.0) for one in self._bolts()), default=0.0)
            if lower and least * TORQUE_STEP < lower[-1]:
                text = f"bolt {bolt} is pulled to {torque:.0f}, another has only {least:.0f}"
                self.judge.report("T2", "pull", text)

    def released(self, now_us: int, message: Message, command: Command) -> None:
        """Whoever pulls together pulls opposite bolts."""
        meeting = self.board.meetings.get(command.barrier)
        if meeting is None or command.action not in PULLING:
            return
        bolts = []
        for party, number in meeting.commands.items():
            other = self.board.command(party, number)
            if other is not None and other.action in PULLING:
                bolts.append(int(other.parameters.get("bolt", 0)))
        half = self.ground.bolt_count // 2
        if len(bolts) == 2 and abs(bolts[0] - bolts[1]) != half:
            self.judge.report("T3", command.action, f"bolts {bolts} are not opposite")

    def reported(self, now_us: int, message: Message) -> None:
        """Remember what each pull came to."""
        body = message.body
        if not isinstance(body, Finished):
            return
        command = self.board.command(message.subject, body.command)
        if command is None or command.ended_us != now_us:
            return
        torque, bolt = command.parameters.get("torque"), command.parameters.get("bolt")
        if command.action == "pull" and isinstance(torque, float) and isinstance(bolt, int):
            self._reached[bolt] = max(self._reached.get(bolt, 0.0), torque)
        felt = body.results.get("torque_nm")
        if isinstance(felt, float):
            self._results[message.subject, body.command] = felt
            if len(self._results) > 24:
                del self._results[next(iter(self._results))]

    def recorded(self, now_us: int, record: WriteRecord) -> None:
        """A record says what the party said; what people have pulled by hand is pulled."""
        party = self.ground.parties[record.party]
        step = self.ground.steps.get(self.ground.plan.nodes[record.node].name)
        if record.outcome == "by_hand" and step is not None and step.action == "pull":
            self._reached[step.bolt] = max(self._reached.get(step.bolt, 0.0), step.torque_nm)
        self._judge_windows(record)
        known = self._results.get((party, record.command))
        noted = dict(record.results).get("torque_nm")
        if known is not None and noted is not None and abs(known - noted) > 1e-6 * abs(known):
            text = f"{party} {record.command}: {noted} is recorded, {known} was reported"
            self.judge.report("T4", "record", text)

    def _judge_windows(self, record: WriteRecord) -> None:
        """What has come out outside its window is no good end, whatever its party says."""
        name = self.ground.plan.nodes[record.node].name
        if record.outcome != "finished" or record.fault:
            return
        if self.ground.is_outside(name, dict(record.results)):
            text = f"{name} is recorded as done with {dict(record.results)}"
            self.judge.report("T5", self.ground.steps[name].action, text)

    def _bolts(self) -> tuple[int, ...]:
        return tuple(
            {step.bolt: None for step in self.ground.steps.values() if step.action == "pull"}
        )


class Overhead(Oracle):
    """W: the string moves only while both arms are parked, and the joint is whole when it goes."""

    def __init__(self, judge: Judge) -> None:
        """Both arms stand parked."""
        super().__init__(judge)
        self._at: dict[str, str] = dict.fromkeys(self.ground.arms, PARKED)

    def reported(self, now_us: int, message: Message) -> None:
        """Follow the arms, and look at both when the hoist begins."""
        body = message.body
        if isinstance(body, SimulatedFacts):
            self._follow(body.facts)
        elif isinstance(body, Accepted | Started):
            command = self.board.command(message.subject, body.command)
            if command is None or command.begun_us != now_us:
                return
            if command.action in STRING_MOVERS:
                self._judge_arms(command)

    def _follow(self, facts: Mapping[str, Value]) -> None:
        for arm in self.ground.arms:
            place = facts.get(f"arm.{arm}.at")
            if isinstance(place, str):
                self._at[arm] = place

    def _judge_arms(self, command: Command) -> None:
        away = [arm for arm, place in self._at.items() if place != PARKED]
        busy = [arm for arm in self.ground.arms if self._works(arm)]
        if away or busy:
            text = f"{command.step} begins while {', '.join(away + busy)} is not parked"
            self.judge.report("W1", command.action, text)

    def _works(self, arm: str) -> bool:
        live = self.board.live.get(arm)
        return live is not None and live.moves


class AllDone(Oracle):
    """E: complete means that every step was done, and the last time it was done well."""

    def __init__(self, judge: Judge) -> None:
        """Nothing is done."""
        super().__init__(judge)
        self._done: dict[str, None] = {}
        self._asked: dict[int, tuple[str, ...]] = {}

    def asked(self, now_us: int, prompt: RaisePrompt) -> None:
        """Note what a person's work would stand for: in a span, all that the side does in it."""
        node = self.ground.plan.nodes[prompt.node]
        party = self.ground.parties[prompt.party]
        in_span = self.ground.spans[node.span].steps[party] if node.span >= 0 else (node.name,)
        self._asked[prompt.number] = in_span

    def answered(self, now_us: int, number: int, option: str) -> None:
        """Work by hand is done by a person's word, with a torque that fits where one is wanted."""
        if not self.judge.is_taken:
            return
        names, felt = self._asked.pop(number, ()), self.judge.hand_nm
        for name in names if option == "by_hand" else ():
            step = self.ground.steps.get(name)
            if step is not None and (not step.torque_nm or step.is_fit(felt)):
                self._done[name] = None

    def heard(self, now_us: int, message: Message) -> None:
        """Note each step that ends well."""
        body = message.body
        if isinstance(body, Finished):
            command = self.board.command(message.subject, body.command)
            step = self.ground.steps.get(command.step) if command is not None else None
            if step is not None and command is not None and command.action == step.action:
                self._done[step.name] = None

    def shown(self, now_us: int, phase: str) -> None:
        """Complete with something left undone is no end."""
        if phase == "complete":
            left = [name for name in self.ground.steps if name not in self._done]
            if left:
                text = f"complete, but {len(left)} steps never ended well: {', '.join(left[:4])}"
                self.judge.report("E2", "complete", text)
