"""Hold the newest snapshot of a run for all viewers, and carry calls back to the run.

Invariants: PG3, a slow viewer misses snapshots but never makes anybody wait; PG4, every call of a
person is answered.
"""

import asyncio
import itertools
from collections.abc import AsyncGenerator, Callable
from typing import Any

from coordinator.page.board import Snapshot
from coordinator.page.history import History

KEEP_ALIVE_S = 10.0
"""Chosen: below the patience of proxies in between."""
REPLY_S = 2.0
"""Chosen: the run answers within a decision; whoever waits longer must look elsewhere."""
NOT_ANSWERED = "not answered"
VIEWERS_MAX = 200


class Feed:
    """The newest snapshot, and the way back.

    Args:
        send: Takes a call to the run; None where there is no run to call.
    """

    def __init__(self, send: Callable[[dict[str, Any]], None] | None = None) -> None:
        self.snapshot: Snapshot | None = None
        self.viewers = 0
        self.history = History()
        self._send = send
        self._version = 0
        self._changed = asyncio.Event()
        self._is_over = False
        self._numbers = itertools.count(1)
        self._waiting: dict[int, asyncio.Future[dict[str, Any]]] = {}

    @property
    def has_run(self) -> bool:
        """Tell whether there is a run behind this page."""
        return self._send is not None

    def put(self, snapshot: Snapshot) -> None:
        """Take the newest snapshot and wake every viewer."""
        self.snapshot = snapshot
        self._version += 1
        changed, self._changed = self._changed, asyncio.Event()
        changed.set()

    def end(self) -> None:
        """Let every viewer's line end: the run is over, and the page goes with it."""
        self._is_over = True
        self._changed.set()

    async def follow(self) -> AsyncGenerator[Snapshot | None, None]:
        """Yield the newest snapshot whenever there is one; None to keep the line alive."""
        seen = 0
        self.viewers += 1
        try:
            while True:
                if self._version != seen and self.snapshot is not None:
                    seen = self._version
                    yield self.snapshot
                    continue
                if self._is_over:
                    return
                try:
                    await asyncio.wait_for(self._changed.wait(), KEEP_ALIVE_S)
                except TimeoutError:
                    yield None
        finally:
            self.viewers -= 1

    async def call(self, content: dict[str, Any]) -> dict[str, Any]:
        """Send a call to the run and return its reply."""
        if self._send is None:
            return {"outcome": "refused", "text": "there is no run behind this page"}
        number = next(self._numbers)
        future = asyncio.get_running_loop().create_future()
        self._waiting[number] = future
        try:
            self._send({"call": number, **content})
            return await asyncio.wait_for(future, REPLY_S)
        except (TimeoutError, OSError):
            text = f"not answered within {REPLY_S:g} s; look whether it counted, or act at the run"
            return {"outcome": NOT_ANSWERED, "text": text}
        finally:
            self._waiting.pop(number, None)

    def take_reply(self, reply: dict[str, Any]) -> None:
        """Hand a reply of the run to whoever waits for it."""
        future = self._waiting.get(int(reply["reply"]))
        if future is not None and not future.done():
            future.set_result(reply)
