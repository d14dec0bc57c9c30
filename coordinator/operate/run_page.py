"""Join a run to its live page, which is a process of its own: if it dies the run goes on.

Snapshots go to the page by its standard input, calls come back by its standard output.

Units: ``*_s`` seconds of the wall.
Invariants: PG5, the page speaks to no arm: calls go to the run's coordinator, which decides; PG9, a
run never waits for its page.
"""

import asyncio
import contextlib
import json
import sys
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from coordinator.core.events import Act, OperatorActed, PersonEvent, PromptAnswered, PromptTaken
from coordinator.core.plan import Plan
from coordinator.core.state import State
from coordinator.live.coordinator import Proof, RecordWriter
from coordinator.live.link import Link
from coordinator.live.person_calls import PersonCalls
from coordinator.operate.signs import signs_by_fault
from coordinator.operate.terminal_words import HELP, Words
from coordinator.page.board import Board, Facts
from coordinator.page.operators import read_operators
from coordinator.page.tapped_link import TappedLink
from coordinator.records.rows import Run
from coordinator.records.write import ToolFacts, to_row
from coordinator.wire.codec import to_time
from coordinator.wire.messages import Trace

PERIOD_S = 0.25
"""Chosen: people see a number change about four times a second."""
BUFFER_MAX = 1 << 20
"""Bytes; a page that far behind gets no more until it has read."""
START_S = 20.0
END_S = 3.0


class PageFailed(Exception):  # noqa: N818 (it says what happened)
    """The page could not be served from the beginning. Code PAG002."""


@dataclass(frozen=True, slots=True)
class PageWish:
    """What is asked of the page."""

    at: str
    operators: Path | None
    place: str
    """Folder or database of the records."""
    sequence: Path | None = None
    joint: Path | None = None
    seed: int = 1
    hold_consoles: tuple[str, ...] = ()
    """Addresses of consoles at which a hold needs no sign-in."""


PAGE_WISHES = TypeAdapter(PageWish)


class RunPage:
    """The page of one run; does nothing if none was asked for."""

    def __init__(
        self,
        wish: PageWish | None,
        plan: Plan,
        state: State,
        facts: Facts,
        *,
        now_us: Callable[[], int],
        say: Callable[[str], None],
    ) -> None:
        self.board = Board(plan, state, facts, signs_by_fault())
        self.has_operators = wish is not None and wish.operators is not None
        self._wish = wish
        self._plan = plan
        self._now_us = now_us
        self._say = say
        self._process: asyncio.subprocess.Process | None = None
        self.calls = PersonCalls("page", now_us, facts.speed)

    def tapped(self, link: Link) -> Link:
        """Return the link, heard by the page if there is one."""
        return link if self._wish is None else TappedLink(link, self.board.hear)

    def recording(self, write: RecordWriter, run: Run, origin_us: int) -> RecordWriter:
        """Return the record writer, seen by the page if there is one."""
        if self._wish is None:
            return write

        def write_and_show(proof: Proof) -> None:
            write(proof)
            at = to_time(origin_us + proof.at_us)
            facts = ToolFacts(proof.trace or Trace(), proof.tool, proof.simulated, at)
            row = to_row(self._plan, run, proof.effect, facts)
            if row is not None:
                self.board.take_record(row, proof.at_us)

        return write_and_show

    @contextlib.asynccontextmanager
    async def served(self, submit: Callable[[PersonEvent], None]) -> AsyncIterator[None]:
        """Serve the page while the run goes on.

        Raises:
            PageFailed: PAG002, its address cannot be used.
            OperatorsFailed: PAG001, the file of operators cannot be used.
        """
        if self._wish is None:
            yield
            return
        if self._wish.operators is not None:
            read_operators(self._wish.operators)
        await self._start(self._wish)
        tasks = [
            asyncio.create_task(self._push()),
            asyncio.create_task(self._take_calls(submit)),
        ]
        try:
            yield
        finally:
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)
            await self._end()

    async def _start(self, wish: PageWish) -> None:
        self._process = await asyncio.create_subprocess_exec(
            sys.executable,
            "-P",  # A file of the working folder must never be run in place of a library's.
            "-m",
            "coordinator.operate.page_process",
            PAGE_WISHES.dump_json(wish).decode(),
            stdin=asyncio.subprocess.PIPE,
            stdout=asyncio.subprocess.PIPE,
            # Out of Ctrl-C's reach: the page shows how the run comes to rest.
            start_new_session=True,
        )
        said = await self._read(START_S)
        if "ready" not in said:
            await self._end()
            raise PageFailed(said.get("failed", "the page's process has ended at once [PAG002]"))
        who = "" if self.has_operators else ", for looking only: nobody was named with --operators"
        self._say(f"live page: {said['ready']}{who}")

    async def _read(self, patience_s: float | None = None) -> dict[str, Any]:
        if self._process is None or self._process.stdout is None:
            return {}
        try:
            line = await asyncio.wait_for(self._process.stdout.readline(), patience_s)
            said: dict[str, Any] = json.loads(line)
        except (TimeoutError, ValueError):
            return {}
        return said

    async def _push(self) -> None:
        """Hand the page a snapshot now and then, if it has read the last ones."""
        while self._send({"snapshot": self.board.snapshot(max(self._now_us(), 0))}):
            await asyncio.sleep(PERIOD_S)
        if not self.board.has_ended:
            self._say("the live page has ended; the run goes on without it")

    def _send(self, content: dict[str, Any]) -> bool:
        """Send a line; False once the page is gone."""
        process = self._process
        if process is None or process.stdin is None or process.returncode is not None:
            return False
        if process.stdin.is_closing():
            return False
        if process.stdin.transport.get_write_buffer_size() < BUFFER_MAX:
            process.stdin.write(json.dumps(content).encode() + b"\n")
        return True

    async def _take_calls(self, submit: Callable[[PersonEvent], None]) -> None:
        while asked := await self._read():
            self.take_call(asked, submit, partial(self._reply, asked["call"]))

    def _reply(self, number: int, said: dict[str, Any]) -> None:
        self._send({"reply": number, **said})

    def take_call(
        self,
        asked: dict[str, Any],
        submit: Callable[[PersonEvent], None],
        reply: Callable[[dict[str, Any]], object],
    ) -> None:
        """Pass on one call of the page; the core's answer to it is what is replied."""
        act = self._act_of(asked)
        if isinstance(act, dict):
            reply(act)
            return
        pressed_s = asked.get("pressed_s")
        call = self.calls.make(
            act,
            lambda said: reply({"outcome": said.outcome, "text": said.text}),
            call=f"{asked['who']}-{asked['id']}" if asked.get("id") else "",
            pressed_us=None if pressed_s is None else round(pressed_s * 1e6),
        )
        submit(call)

    def _act_of(self, asked: dict[str, Any]) -> PersonEvent | dict[str, Any]:
        """Return what is asked as an act, or what is replied at once."""
        who = asked["who"]
        if "act" in asked:
            return OperatorActed(0, Act(asked["act"]), who)
        if "words" in asked:
            return self._act_of_words(asked["words"], who)
        torque_nm, done_by = asked.get("torque_nm"), asked.get("done_by", "")
        return PromptAnswered(0, asked["prompt"], asked["option"], who, torque_nm, done_by)

    def _act_of_words(self, said: str, who: str) -> PersonEvent | dict[str, Any]:
        """Read what a person says about modes, steps, overrides, alarms, or a prompt."""
        words = said.split()
        match words:
            case ["take", number] if number.isdecimal():
                return PromptTaken(0, int(number), who)
        found = Words(self._plan, who, self._now_us, self.board.alarms).read(words)
        if found is None:
            found = f"not understood: '{said}'; {HELP}; take NUMBER"
        if isinstance(found, str):
            is_refused = found.startswith(("not understood", "minutes is"))
            return {"outcome": "refused" if is_refused else "done", "text": found}
        return found

    async def _end(self) -> None:
        process = self._process
        if process is None:
            return
        if process.returncode is None:
            self._send({"snapshot": self.board.snapshot(max(self._now_us(), 0))})
        if process.stdin is not None:
            process.stdin.close()
        try:
            await asyncio.wait_for(process.wait(), END_S)
        except TimeoutError:
            process.kill()
            await process.wait()
