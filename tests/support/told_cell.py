"""A cell in virtual time with everything that people read and press beside its coordinator.

The simulated arms and the floor are those of a rehearsal; page and terminal are those of a run.

Units: ``*_us`` whole microseconds.
"""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from coordinator.core.events import Act, OperatorActed, PersonEvent
from coordinator.core.state import State
from coordinator.live.alarms import Alarms
from coordinator.live.coordinator import Coordinator, Observers, Proof
from coordinator.live.hold_stories import HoldStories
from coordinator.operate.live_lines import LiveLines
from coordinator.operate.run_page import RunPage
from coordinator.operate.screen import Screen
from coordinator.operate.terminal_prompts import WHO, PromptDesk
from coordinator.operate.terminal_words import Words
from coordinator.page.board import Facts
from coordinator.page.text_view import to_text
from coordinator.rehearse.simulated import Simulation
from coordinator.sequence import load
from coordinator.wire.messages import Message
from sim_arms.causes import Cause
from sim_arms.floor import Floor
from sim_arms.network import Network
from sim_arms.world import World
from tests.support.span_sequence import write_pull_span

S = 1_000_000


class ToldCell:
    """A cell at work, and what people see of it."""

    def __init__(self, path: Path, causes: Sequence[Cause] = ()) -> None:
        loaded = load(path)
        self.plan = loaded.plan
        self.proofs: list[Proof] = []
        self.lines: list[str] = []
        """What the terminal has told."""
        self.heard: list[Message] = []
        """What the parties have said."""
        self.sent: list[Message] = []
        """What the coordinator has said to them."""
        simulation = Simulation(loaded, 1, tuple(causes))
        state = Coordinator(self.plan).state
        facts = Facts("run", True, 1.0, loaded.joint)
        self.page = RunPage(
            None, self.plan, state, facts, now_us=lambda: self.world.now_us, say=self.lines.append
        )
        self.alarms, self.stories = Alarms(self.plan), HoldStories(self.plan)
        self.page.board.alarms, self.page.board.stories = self.alarms, self.stories
        words = Words(self.plan, WHO, lambda: self.world.now_us, self.alarms)
        self._desk = PromptDesk(words)
        lines = LiveLines(
            self.plan,
            state,
            lambda: self.world.now_us,
            Screen(self.lines.append),
            desk=self._desk,
        )
        listeners = (self.alarms, self._desk, lines, self.stories, self.page.board, self.page.calls)
        observers = Observers(None, self.proofs.append, listeners)
        self.coordinator = Coordinator(self.plan, observers=observers)
        parties = [simulation.party(name) for name in simulation.names]
        self.world = World(parties, self, Network(1, simulation.causes), causes=simulation.causes)

    @property
    def state(self) -> State:
        """What the coordinator has decided so far."""
        return self.coordinator.state

    # -- the coordinator, with the page listening to its bus ---------------------------------

    name = "coordinator"

    def receive(self, message: Message, now_us: int, retained: bool = False) -> list[Message]:
        """Take in one message."""
        self.page.board.hear(message)
        self.heard.append(message)
        return self._sent(self.coordinator.receive(message, now_us, retained))

    def advance(self, now_us: int) -> list[Message]:
        """Let time pass."""
        return self._sent(self.coordinator.advance(now_us))

    def next_us(self) -> int | None:
        """Return when time is due."""
        return self.coordinator.next_us()

    # -- people ------------------------------------------------------------------------------

    def run_until(self, is_so: Callable[[State], bool], within_s: float = 1200.0) -> None:
        """Let the cell live on until something is so."""
        self.world.run(lambda: is_so(self.state), self.world.now_us + round(within_s * S))
        assert is_so(self.state), f"it never came: {self.state.phase}, {self.lines[-8:]}"

    def wait(self, duration_s: float) -> None:
        """Let the cell live on for a while."""
        until_us = self.world.now_us + round(duration_s * S)
        self.world.run(lambda: self.world.now_us >= until_us, until_us)

    def start(self) -> None:
        """Start the run once everybody is there."""
        self.run_until(lambda state: all(lane.party.online for lane in state.lanes))
        self.wait(2.0)
        self.act(Act.START)

    def act(self, act: Act, who: str = "Ada") -> None:
        """Do something to the procedure."""
        self._take(OperatorActed(0, act, who))

    def set_signal(self, name: str, value: bool | None) -> None:
        """Let the floor tell from now on that a signal is so."""
        floor = next(one for one in self.world.parties if isinstance(one, Floor))
        self.world.post(floor.set_signal(name, value, self.world.now_us), floor.name)
        self.wait(1.0)

    def press(self, **asked: Any) -> dict[str, Any]:
        """Press something on the page; return what the page replies."""
        replies: list[dict[str, Any]] = []
        self.page.take_call(asked, self._take, replies.append)
        (reply,) = replies
        return reply

    def type(self, line: str) -> list[str]:
        """Type a line at the terminal; return what the terminal tells at once."""
        before = len(self.lines)
        call = self._desk.read(line)
        if isinstance(call, str):
            self.lines.append(call)
        else:
            self._take(call)
        return self.lines[before:]

    def snapshot(self) -> dict[str, Any]:
        """Return what the page shows now."""
        return self.page.board.snapshot(self.world.now_us)

    def text(self) -> str:
        """Return the page as plain text."""
        return to_text(self.snapshot())

    def _take(self, call: PersonEvent) -> None:
        messages = self.coordinator.hear(call, self.world.now_us)
        self.world.post(self._sent(messages), self.name)

    def _sent(self, messages: list[Message]) -> list[Message]:
        self.sent += messages
        return messages


def write_span_by_hand(folder: Path) -> Path:
    """Write one paired pull whose prompt may also be answered with work by hand."""
    path = write_pull_span(folder)
    text = path.read_text(encoding="utf-8")
    assert text.count("      hold: holds both arms") == 1
    text = text.replace(
        "      hold: holds both arms",
        "      by_hand: a person has pulled it; say to what torque\n      hold: holds both arms",
    )
    path.write_text(text, encoding="utf-8")
    return path
