"""Judge meetings and paired spans: nobody goes alone, and one fate holds for both sides.

Units: ``*_us`` whole microseconds; ``*_nm`` newton metre.
"""

from dataclasses import dataclass, field

from coordinator.campaign.board import Command, Meeting
from coordinator.campaign.judge import Judge, Oracle
from coordinator.core.effects import RaisePrompt
from coordinator.wire.messages import (
    Faulted,
    Finished,
    Interrupted,
    Message,
    Progressed,
    Refused,
    Started,
)

STOP_SLACK_US = 6_000_000
"""Beyond the stated time of a span: trips over a bus that loses and delays, lease and relief."""
BALANCE_SLACK = 1.1
BALANCE_US = 4_000_000
"""A band may be left for so long: reports come once a second, a hold is answered within three."""

_OF_A_COMMAND = (Finished, Faulted, Interrupted, Refused, Started, Progressed)
"""A tuple, since a union is made anew each time it is asked about."""


class Together(Oracle):
    """B: nobody passes a barrier alone."""

    def released(self, now_us: int, message: Message, command: Command) -> None:
        """Everybody must have armed before, and all get the same start."""
        meeting = self.board.meetings.get(command.barrier)
        if meeting is None:
            return
        name = _name(meeting)
        missing = self._unarmed(meeting)
        if missing:
            text = f"{command.barrier}: {message.subject} is released, {missing} had not armed"
            self.judge.report("B1", "release", text)
        self.judge.later(now_us, "B2", "release", self._left_out, meeting, name)

    def reported(self, now_us: int, message: Message) -> None:
        """Whoever begins must have been released, and not begin before its start."""
        body = message.body
        if not isinstance(body, Started):
            return
        command = self.board.command(message.subject, body.command)
        if command is None or command.begun_us != now_us:
            return
        told_us = command.start_told_us
        if told_us < 0 or body.started_us < told_us:
            text = f"{message.subject} begins {command.step} at {body.started_us}, told {told_us}"
            self.judge.report("B3", "start", text)

    def _unarmed(self, meeting: Meeting) -> str:
        expected = self.ground.meetings.get(_name(meeting), ())
        missing = []
        for party in expected:
            command = self.board.command(party, meeting.commands.get(party, 0))
            if command is None or not command.armed or command.refused:
                missing.append(party)
        return ", ".join(missing)

    def _left_out(self, meeting: Meeting, name: str) -> str:
        expected = self.ground.meetings.get(name, ())
        starts = {meeting.releases.get(party, -1) for party in expected}
        if len(starts) == 1:
            return ""
        return f"{meeting.barrier}: released unlike: {sorted(meeting.releases.items())}"


@dataclass(slots=True)
class _Round:
    """A paired span since its barrier was last released."""

    is_open: bool = False
    broken: str = ""
    finished: dict[str, None] = field(default_factory=dict)
    by_hand: dict[str, None] = field(default_factory=dict)
    """Sides whose part people have done."""
    starts_us: dict[str, int] = field(default_factory=dict)
    torque_nm: dict[str, float] = field(default_factory=dict)
    unbalanced_us: int = -1


class OneFate(Oracle):
    """S: both sides of a span finish it together, or both start it over."""

    def __init__(self, judge: Judge) -> None:
        """Know nothing of any span."""
        super().__init__(judge)
        self._rounds = [_Round() for _ in self.ground.spans]
        self._opening = {span.opens: index for index, span in enumerate(self.ground.spans)}
        self._closing = {span.closes: index for index, span in enumerate(self.ground.spans)}
        self._asked: dict[int, tuple[str, int]] = {}
        """Side and span of each question."""

    def asked(self, now_us: int, prompt: RaisePrompt) -> None:
        """Note about which side of which span a person is asked."""
        span = self.ground.plan.nodes[prompt.node].span
        self._asked[prompt.number] = self.ground.parties[prompt.party], span

    def answered(self, now_us: int, number: int, option: str) -> None:
        """A side whose part is done by hand breaks nothing any more; the other ends its own."""
        if not self.judge.is_taken:
            return
        party, span = self._asked.pop(number, ("", -1))
        if option == "by_hand" and span >= 0:
            self._rounds[span].by_hand[party] = None
            self._rounds[span].broken = ""

    def released(self, now_us: int, message: Message, command: Command) -> None:
        """A closing barrier needs a whole span behind it."""
        name = command.barrier.rpartition("/")[0]
        if name in self._opening:
            self._rounds[self._opening[name]] = _Round(is_open=True)
        elif name in self._closing:
            index = self._closing[name]
            lacking = self._lacking(index)
            if lacking:
                self.judge.report("S1", "release", f"{name} is released though {lacking}")

    def reported(self, now_us: int, message: Message) -> None:
        """Nobody ends a pull that the other never began."""
        body = message.body
        if not isinstance(body, Finished):
            return
        command = self.board.command(message.subject, body.command)
        span = self._span_of(command)
        if command is None or span < 0 or not command.barrier or command.ended_us != now_us:
            return
        meeting = self.board.meetings.get(command.barrier)
        for party in self.ground.spans[span].parties if meeting is not None else ():
            other = self.board.command(party, meeting.commands.get(party, 0)) if meeting else None
            if other is None or other.begun_us < 0:
                text = f"{message.subject} ends {command.step}; {party} has not begun"
                self.judge.report("S2", command.action, text)

    def heard(self, now_us: int, message: Message) -> None:
        """Count what ended; whoever fails stops its partner."""
        body = message.body
        if not isinstance(body, _OF_A_COMMAND):
            return
        command = self.board.command(message.subject, body.command)
        span = self._span_of(command)
        if command is None or span < 0 or not self._rounds[span].is_open:
            return
        if command.action != self.ground.steps[command.step].action:
            return  # A move of a recovery, or a look again: no part of the span is done by it.
        current = self._rounds[span]
        match body:
            case Progressed():
                self._weigh(now_us, span, message.subject, body)
            case Started():
                self._compare(span, message.subject, body)
            case Finished(_, results) if self.ground.is_outside(command.step, results):
                current.broken = f"{message.subject} ends {command.step} outside its window"
            case Finished():
                if command.heard == "finished":
                    current.finished[command.step] = None
            case Refused(_, reason) if reason == "duplicate" or not command.armed:
                pass  # Only said of a copy, or of one that comes again.
            case Interrupted() if command.step != self._first_of(span, message.subject):
                # Held after its pull, it does this step again; that of the other may be heard of
                # late, and what became of it is asked at the release.
                current.finished.pop(command.step, None)
            case _:
                current.broken = f"{message.subject} {type(body).__name__.lower()} {command.step}"
                if isinstance(body, Faulted):
                    self._watch_partner(now_us, span, command)

    def _first_of(self, index: int, party: str) -> str:
        """Return the step of a party that starts together with the other's."""
        return self.ground.spans[index].steps[party][0]

    def _lacking(self, index: int) -> str:
        span, current = self.ground.spans[index], self._rounds[index]
        if current.broken:
            return current.broken
        own = [party for party in span.parties if party not in current.by_hand]
        steps = [step for party in own for step in span.steps.get(party, ())]
        left = [step for step in steps if step not in current.finished]
        if left:
            return f"{', '.join(left)} is not finished"
        # Once people have done one side's part there is no start of both to compare.
        unheard = () if current.by_hand else (one for one in own if one not in current.starts_us)
        missing = ", ".join(unheard)
        return f"nobody has heard when {missing} began" if missing else ""

    def _watch_partner(self, now_us: int, span: int, failed: Command) -> None:
        stop_us = self.ground.spans[span].stop_us
        for party in self.ground.spans[span].parties:
            live = self.board.live.get(party)
            if party != failed.party and live is not None and self._span_of(live) == span:
                until_us = now_us + stop_us + STOP_SLACK_US
                self.judge.later(until_us, "S3", live.action, self._goes_on, live, failed.party)

    def _goes_on(self, live: Command, failed: str) -> str:
        if not live.is_live or self.board.dead.get(live.party):
            return ""
        return f"{live.party} still works on {live.step} after {failed} failed"

    def _compare(self, span: int, party: str, body: Started) -> None:
        current = self._rounds[span]
        current.starts_us.setdefault(party, body.started_us)
        starts = current.starts_us.values()
        if max(starts) - min(starts) > self.ground.spans[span].window_us:
            current.broken = f"the starts lie {max(starts) - min(starts)} us apart"

    def _weigh(self, now_us: int, span: int, party: str, body: Progressed) -> None:
        pair, current = self.ground.spans[span], self._rounds[span]
        if body.torque_nm is None or pair.balance_nm <= 0:
            return
        # The highest so far: a bolt keeps its load while a ratcheting wrench takes its next stroke.
        current.torque_nm[party] = max(body.torque_nm, current.torque_nm.get(party, 0.0))
        both = [self.board.live.get(one) for one in pair.parties]
        if any(one is None or not one.barrier for one in both) or len(current.torque_nm) < 2:
            current.unbalanced_us = -1
            return
        known = current.torque_nm.values()
        if max(known) - min(known) <= pair.balance_nm * BALANCE_SLACK:
            current.unbalanced_us = -1
        elif current.unbalanced_us < 0:
            current.unbalanced_us = now_us
        elif now_us - current.unbalanced_us > BALANCE_US:
            text = f"{pair.opens}: torques {sorted(current.torque_nm.items())} for too long"
            self.judge.report("S4", "pull", text)
            current.unbalanced_us = now_us

    def _span_of(self, command: Command | None) -> int:
        return -1 if command is None else self.ground.span_of(command.step)


def _name(meeting: Meeting) -> str:
    return meeting.barrier.rpartition("/")[0]
