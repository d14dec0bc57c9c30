"""The page of a recorded run, served in a thread: it shows what a test sends it."""

import asyncio
import contextlib
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import uvicorn

from coordinator.operate.page_process import address_of, listen
from coordinator.page.board import Snapshot
from coordinator.page.feed import Feed
from coordinator.page.operators import Operator, Sessions
from coordinator.page.server import Served, make_app

PHRASE = "up the string"
PERIOD_S = 0.25


@dataclass(slots=True)
class RecordedPage:
    """A page without a run; every call of a person comes to `answer`."""

    address: str = ""
    calls: list[dict[str, Any]] = field(default_factory=list)
    answer: Callable[[dict[str, Any]], tuple[str, str] | None] = lambda _: ("done", "done")
    """Outcome and text of the answer to a call; None to leave it without one."""
    is_silent: bool = False
    """Sends nothing any more, as a page does whose run is not reached."""
    feed: Feed = field(init=False)
    _ready: threading.Event = field(default_factory=threading.Event)
    _server: uvicorn.Server = field(init=False)
    _shown: Snapshot | None = None

    def __post_init__(self) -> None:
        """Join the feed to this page's answers."""
        self.feed = Feed(self._take)

    def show(self, snapshot: Snapshot) -> None:
        """Send a snapshot from now on, again and again as a run does."""
        self.is_silent, self._shown = False, snapshot

    def _take(self, call: dict[str, Any]) -> None:
        self.calls.append(call)
        answer = self.answer(call)
        if answer is not None:
            said = {"reply": call["call"], "outcome": answer[0], "text": answer[1]}
            asyncio.get_running_loop().call_soon(self.feed.take_reply, said)

    async def _serve(self) -> None:
        bound = listen("127.0.0.1:0")
        self.address = address_of(bound)
        sessions = Sessions({"mate": Operator.of("mate", PHRASE)})
        app = make_app(Served(self.feed, sessions, lambda: None))
        config = uvicorn.Config(app, log_level="error", lifespan="off", timeout_graceful_shutdown=1)
        self._server = uvicorn.Server(config)
        pushing = asyncio.create_task(self._push())
        self._ready.set()
        await self._server.serve(sockets=[bound])
        pushing.cancel()

    async def _push(self) -> None:
        while True:
            if self._shown is not None and not self.is_silent:
                self.feed.put(self._shown)
            await asyncio.sleep(PERIOD_S)

    @contextlib.contextmanager
    def served(self) -> Iterator["RecordedPage"]:
        """Serve the page while the test goes on."""
        thread = threading.Thread(target=lambda: asyncio.run(self._serve()), daemon=True)
        thread.start()
        assert self._ready.wait(10.0)
        try:
            yield self
        finally:
            self.feed.end()
            self._server.should_exit = True
            thread.join(10.0)
