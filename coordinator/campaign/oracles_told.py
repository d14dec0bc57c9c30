"""Judge what people read: nothing is told that what the parties did and said does not bear out.

Units: ``*_us`` whole microseconds since the run began.
"""

from coordinator.campaign.judge import Judge, Oracle
from coordinator.core.effects import Notify, RaisePrompt

AT_REST = ("nothing moves", "every party stands")
"""Words that people take as leave to step over the line."""
RESET_DONE = " has reset "


class RestTold(Oracle):
    """TD1: people read that everybody stands only while no party is at work on a move."""

    def noticed(self, now_us: int, notice: Notify) -> None:
        """Compare the words with what each party last said of itself."""
        if not any(words in notice.text for words in AT_REST):
            return
        for party in self.ground.parties:
            live = self.board.live.get(party)
            # A process that is down drives nothing: its arm holds by itself.
            if live is None or not live.moves or self.board.dead.get(party, False):
                continue
            text = f"'{notice.text}' is told while {party} works on {live.step}"
            self.judge.report("TD1", notice.kind, text)
            return


class ResetTold(Oracle):
    """TD2: a trip is told as reset only while its signal is good."""

    def noticed(self, now_us: int, notice: Notify) -> None:
        """Look up the signal of each trip that the words name."""
        if notice.kind != "reset" or RESET_DONE not in notice.text:
            return
        named = notice.text.partition(RESET_DONE)[2].partition(";")[0].split(", ")
        for gate in self.ground.gates:
            if gate.name in named and not self.board.is_good(gate.signal, gate.max_age_us, now_us):
                self.judge.report("TD2", "reset", f"{gate.name} is told as reset; it is not good")


class AnswerTold(Oracle):
    """TD3: an answer is told as taken only if it closes an open prompt."""

    def __init__(self, judge: Judge) -> None:
        """Nobody was asked or has answered."""
        super().__init__(judge)
        self._open: dict[int, None] = {}
        self._last = 0
        """The prompt answered last."""

    def asked(self, now_us: int, prompt: RaisePrompt) -> None:
        """A prompt is open."""
        self._open[prompt.number] = None

    def withdrawn(self, now_us: int, number: int) -> None:
        """It is open no more."""
        self._open.pop(number, None)

    def answered(self, now_us: int, number: int, option: str) -> None:
        """What is told next is told of this answer."""
        self._last = number

    def noticed(self, now_us: int, notice: Notify) -> None:
        """Compare the words with whether the prompt was open, and whether it still is."""
        was_open = self._last in self._open
        text = f"prompt {self._last}: '{notice.text}'"
        if notice.kind == "answered":
            self._open.pop(self._last, None)
            if not was_open or not self.judge.is_taken:
                self.judge.report("TD3", notice.kind, f"{text} is told of one that is not taken")
        elif notice.kind == "answer_late" and was_open:
            self.judge.report("TD3", notice.kind, f"{text} is told while it is open")
        elif notice.kind == "answer_unknown" and self.judge.is_taken:
            self.judge.report("TD3", notice.kind, f"{text} is told, and the prompt is closed")
