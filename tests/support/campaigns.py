"""Campaigns for tests: a maker of a shipped sequence, small words, and messages for judges."""

from functools import cache
from typing import Any

from coordinator.campaign.judge import Judge
from coordinator.campaign.oracles import ORACLES
from coordinator.campaign.vocabulary import Kind, Vocabulary
from coordinator.core.effects import Effect
from coordinator.core.events import Act, Event, OperatorActed
from coordinator.core.state import (
    Phase,
    State,
)
from coordinator.rehearse.stage import StageMaker, maker_of
from coordinator.sequence import load
from coordinator.wire.messages import (
    Armed,
    Body,
    Do,
    FloorSignals,
    Hold,
    Lease,
    MakeReady,
    Message,
    Release,
)
from tests.support.sequence_files import SEQUENCES

WORDS = Vocabulary(
    kinds=(
        Kind("loss", "bus", {"share": ("ratio", 0.1)}),
        Kind("delay", "bus", {"share": ("ratio", 0.1), "time": ("time", 0.5)}),
        Kind("party_cut", "bus", {}, True),
        Kind("party_restarts", "process", {"down": ("time", 2.0)}, True),
        Kind("burr", "bolt", {"height": ("length", 2e-3), "corner": ("number", -1.0)}),
        Kind("supply_low", "side", {"pressure": ("pressure", 8e6)}),
        Kind("person_steps_in", "floor"),
    ),
    arms=("fore", "aft"),
    parties=("fore", "aft", "floor", "coordinator"),
    bolt_count=8,
    prompts=("torque_trouble", "unknown_outcome"),
)
CLEAR = {
    "floor_clear": True,
    "string_still": True,
    "nothing_overhead": True,
    "hydraulics_ready": True,
}
PULL = "pull (round 1, pair 1)/1"
TORQUE_NM = 934.2139775486687
"""Of the first round of the shipped make-up of eight bolts."""
_ORDERS = (Do, Release, Hold, MakeReady, Lease)


@cache
def maker(sequence: str = "makeup_8") -> StageMaker:
    """Return a maker of a shipped sequence."""
    path = SEQUENCES / f"{sequence}.yaml"
    return maker_of(path, load(path))


class Court:
    """A judge, and short words for what happens before it."""

    def __init__(self) -> None:
        """Begin while both arms and the coordinator stand, everything clear and leased."""
        from coordinator.campaign.ground import Ground

        self.ground = Ground.of(maker().loaded())
        self.judge = Judge(self.ground, ORACLES)
        self.now_us = 0
        self._sequence = 0
        self.signals(**CLEAR)
        self.lease(3_600_000_000)
        self.judge.found.clear()

    @property
    def broken(self) -> list[str]:
        """The codes of the promises broken so far."""
        return [one.code for one in self.judge.found]

    def say(self, party: str, body: Body, at_us: int | None = None) -> Message:
        """Let a message leave: an order for `party`, or a report of it."""
        self.now_us = self.now_us if at_us is None else at_us
        self._sequence += 1
        source = "coordinator" if isinstance(body, _ORDERS) else party
        expires_us = self.now_us + 2_000_000 if isinstance(body, _ORDERS) else None
        message = Message(source, party, self._sequence, 1, self.now_us, body, expires_us)
        self.judge.said(self.now_us, source, message)
        return message

    def arrive(self, message: Message, at_us: int | None = None) -> None:
        """Let it arrive where it is meant to."""
        self.now_us = self.now_us if at_us is None else at_us
        to = message.subject if message.source == "coordinator" else "coordinator"
        self.judge.delivered(self.now_us, to, message)

    def pass_on(self, party: str, body: Body, at_us: int | None = None) -> None:
        """Let a message leave and arrive at once."""
        self.arrive(self.say(party, body, at_us))

    def signals(self, at_us: int | None = None, **signals: bool | None) -> None:
        """Let the floor tell its signals to everybody."""
        self.now_us = self.now_us if at_us is None else at_us
        message = Message("floor", "floor", 1, 1, self.now_us, FloorSignals(CLEAR | signals))
        for to in ("coordinator", "fore", "aft"):
            self.judge.delivered(self.now_us, to, message)

    def lease(self, until_us: int) -> None:
        """Let a lease reach everybody."""
        message = Message("coordinator", "all", 1, 1, self.now_us, Lease(until_us), until_us)
        for to in ("fore", "aft", "floor"):
            self.judge.delivered(self.now_us, to, message)

    def decide(self, event: Event, *effects: Effect, phase: str) -> None:
        """Let the coordinator decide, and show a phase."""
        state: Any = State(Phase(phase), (), (), (), ())
        self.judge.decided(event, effects, state)

    def later(self, at_us: int) -> None:
        """Let time pass, so that what was put off is looked at."""
        self.now_us = at_us
        self.judge.look(at_us)


def running() -> Court:
    """Return a court before which the run has just started."""
    court = Court()
    court.decide(OperatorActed(0, Act.START, "mate"), phase="running")
    return court


def armed_pair(court: Court, *, bolts: tuple[int, int] = (1, 5)) -> None:
    """Let both sides arm for the first pull."""
    for number, (party, bolt) in enumerate(zip(("fore", "aft"), bolts, strict=True), 1):
        step = f"pull bolt {bolt} round 1"
        parameters = {"bolt": bolt, "torque": TORQUE_NM}
        court.pass_on(party, Do(number, step, "pull", parameters, PULL, "relieve"))
        court.pass_on(party, Armed(number))
