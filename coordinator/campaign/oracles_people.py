"""Judge what follows when people set things going again, and when a coordinator does.

Units: ``*_us`` whole microseconds since the run began.
"""

from coordinator.campaign.board import Command
from coordinator.campaign.judge import Judge, Oracle
from coordinator.core.effects import RaisePrompt
from coordinator.wire.messages import Message, Ready

STANDING = ("idle", "held", "stopped", "aborted", "complete")
"""Phases in which nobody can be at work: whoever takes the run up then need hold nobody."""


class Renewed(Oracle):
    """H5: whoever takes a run up again has everybody hold at once."""

    def renewed(self, now_us: int, epoch: int, phase: str) -> None:
        """Whoever was at work when its coordinator died is told to hold."""
        if phase not in STANDING:
            self.judge.later(now_us, "H5", phase, self._unheld, epoch)

    def _unheld(self, epoch: int) -> str:
        told = self.board.hold_epochs
        untold = [one for one in self.ground.parties if told.get(one, 0) < epoch]
        return f"a coordinator started anew; {', '.join(untold)} was not held" if untold else ""


class ReadyAgain(Oracle):
    """I5: after a restart nothing moves before every party has said that it is ready."""

    def __init__(self, judge: Judge) -> None:
        """Nobody has restarted anything."""
        super().__init__(judge)
        self._waits: dict[str, None] = {}

    def shown(self, now_us: int, phase: str) -> None:
        """From a restart on everybody is waited for."""
        if phase == "restarting":
            self._waits = dict.fromkeys(self.ground.parties)

    def heard(self, now_us: int, message: Message) -> None:
        """One less to wait for."""
        if isinstance(message.body, Ready):
            self._waits.pop(message.subject, None)

    def ordered(self, now_us: int, message: Message, command: Command) -> None:
        """Whatever moves now must have waited for all."""
        if command.moves and self._waits:
            text = f"{command.step} is sent after a restart; {', '.join(self._waits)} is not ready"
            self.judge.report("I5", command.action, text)
            self._waits = {}


class TakenBack(Oracle):
    """P2: a question is taken back once everybody is told to hold: what it asked is no more so."""

    def __init__(self, judge: Judge) -> None:
        """Nobody is asked anything."""
        super().__init__(judge)
        self._open: dict[int, None] = {}

    def asked(self, now_us: int, prompt: RaisePrompt) -> None:
        """A question is open."""
        self._open[prompt.number] = None

    def withdrawn(self, now_us: int, number: int) -> None:
        """It is open no more."""
        self._open.pop(number, None)

    def answered(self, now_us: int, number: int, option: str) -> None:
        """An answer that was taken closes it."""
        if self.judge.is_taken:
            self._open.pop(number, None)

    def shown(self, now_us: int, phase: str) -> None:
        """No question outlives a hold."""
        if phase in ("holding", "held", "stopping", "aborting") and self._open:
            text = f"{phase} with question {', '.join(map(str, self._open))} open"
            self.judge.report("P2", phase, text)
            self._open = {}
