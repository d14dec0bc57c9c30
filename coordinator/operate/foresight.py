"""Tell, beside each prompt of a run in real time, what each answer would lead to.

A process of its own looks ahead while the person reads the question; its lines follow the prompt
as soon as they are there, and are dropped where the prompt has gone meanwhile.
"""

import asyncio
import contextlib
import sys
from collections.abc import Callable
from dataclasses import replace

from coordinator.core.effects import Effect, RaisePrompt
from coordinator.core.events import Event, PromptAnswered
from coordinator.core.plan import Plan
from coordinator.core.prompts import name_of
from coordinator.core.state import State
from coordinator.operate.look_ahead_process import ASKED, FORESEEN, Asked


class Foresight:
    """Listens to the coordinator.

    Args:
        plan: Names steps and prompts.
        asked: What is the same for every prompt.
        say: Takes lines for people.
        show: Takes the number of a prompt and the lines about it, for whoever shows them beside it.
    """

    def __init__(
        self,
        plan: Plan,
        asked: Asked,
        say: Callable[[str], None],
        show: Callable[[int, list[str]], None] = lambda _number, _lines: None,
    ) -> None:
        self._plan = plan
        self._asked = asked
        self._say = say
        self._show = show
        self._open: dict[int, str] = {}
        """Number of each open prompt, and the name of its kind."""
        self._tasks: list[asyncio.Task[None]] = []

    def __call__(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        """Take in one decision."""
        before = self._open
        still = {one.number: name_of(self._plan, one.prompt) for one in state.prompts}
        if isinstance(event, PromptAnswered) and event.prompt in before.keys() - still.keys():
            given = (before[event.prompt], event.option, event.who, event.torque_nm)
            self._asked = replace(self._asked, answers=(*self._asked.answers, given))
        self._open = still
        for effect in effects:
            if isinstance(effect, RaisePrompt) and effect.number in still:
                self._tasks.append(asyncio.get_running_loop().create_task(self._look(effect)))

    async def close(self) -> None:
        """Leave no process behind."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    async def _look(self, raised: RaisePrompt) -> None:
        node = self._plan.nodes[raised.node].name
        asked = replace(self._asked, node=node, fault=raised.fault)
        process = await asyncio.create_subprocess_exec(
            *(sys.executable, "-P", "-m", "coordinator.operate.look_ahead_process"),
            stdin=asyncio.subprocess.PIPE,
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.DEVNULL,
        )
        try:
            told, _ = await process.communicate(ASKED.dump_json(asked))
        finally:
            with contextlib.suppress(ProcessLookupError):
                process.kill()
            await process.wait()
        if raised.number in self._open:
            lines = _lines(raised.number, told)
            self._show(raised.number, lines)
            for line in lines:
                self._say(line)


def _lines(number: int, told: bytes) -> list[str]:
    found = FORESEEN.validate_json(told) if told else ()
    if not found:
        return [f"prompt {number}: no rehearsal comes to this question; nothing is foreseen"]
    lines = []
    for one in found:
        lines.append(f"prompt {number}, what each answer leads to, SIMULATED with {one.supposing}:")
        lines += [f"    {outlook.words()}" for outlook in one.outlooks]
    return lines
