"""Be the process that serves the page: beside a run, or for records alone.

Invariants: PG8, the page ends by itself once the run's process is gone.
"""

import asyncio
import contextlib
import json
import socket
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import uvicorn

from coordinator.operate.expectation_process import EXPECTED
from coordinator.operate.run_certificate import certificate_for, rendered
from coordinator.page.expectation import Expectation
from coordinator.page.feed import Feed
from coordinator.page.operators import (
    OperatorsFailed,
    Sessions,
    read_operators,
)
from coordinator.page.server import Served, make_app
from coordinator.records.store import RecordsFailed, RecordStore

LINE_MAX = 1 << 22
LAST_LOOK_S = 1.0
"""Chosen: long enough for viewers to get the last snapshot."""


class _Server(uvicorn.Server):
    """Uvicorn without signal handlers: the process ends with its run."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


def listen(at: str) -> socket.socket:
    """Bind an address.

    Raises:
        ValueError: it is no address or cannot be bound.
    """
    host, _, port = at.rpartition(":")
    if not host or not port.isdecimal() or int(port) > 65_535:
        raise ValueError(f"page address is '{at}', must be HOST:PORT [PAG002]")
    try:
        return socket.create_server((host, int(port)))
    except OSError as error:
        what = error.strerror or str(error)
        raise ValueError(
            f"page address {at}: {what}; choose another with --page-at [PAG002]"
        ) from None


def address_of(bound: socket.socket) -> str:
    """Return where a bound socket is to be visited."""
    host, port = bound.getsockname()[:2]
    return f"http://{host}:{port}/"


def served_records(place: str, feed: Feed, sessions: Sessions) -> Served:
    """Return what the page needs of the records of a folder or a database."""

    def open_store() -> RecordStore | None:
        if "://" in place:
            return RecordStore(place)
        path = Path(place) / "records.sqlite"
        return RecordStore(f"sqlite:///{path}") if path.is_file() else None

    def certificate(run: str, ending: str) -> bytes:
        store = open_store()
        if store is None:
            raise RecordsFailed("there are no records yet [REC002]")
        with contextlib.closing(store):
            return rendered(certificate_for(store, place, run), ending)

    return Served(feed, sessions, open_store, certificate)


def _serving(served: Served) -> _Server:
    config = uvicorn.Config(
        make_app(served), log_level="warning", lifespan="off", timeout_graceful_shutdown=1
    )
    return _Server(config)


def _say(content: dict[str, Any]) -> None:
    sys.stdout.write(json.dumps(content) + "\n")
    sys.stdout.flush()


async def _serve_run(wish: dict[str, Any]) -> None:
    try:
        bound = listen(str(wish["at"]))
        known = read_operators(Path(wish["operators"])) if wish["operators"] else {}
    except (ValueError, OperatorsFailed) as error:
        _say({"failed": str(error)})
        return
    feed = Feed(_say)
    served = served_records(str(wish["place"]), feed, Sessions(known))
    server = _serving(replace(served, hold_consoles=tuple(wish["hold_consoles"])))
    serving = asyncio.create_task(server.serve(sockets=[bound]))
    _say({"ready": address_of(bound)})
    expected = asyncio.create_task(_expected(wish["sequence"], wish["joint"], int(wish["seed"])))
    await _read_run(feed, expected)
    expected.cancel()
    await asyncio.sleep(LAST_LOOK_S)
    feed.end()
    server.should_exit = True
    await serving


async def _expected(sequence: str, joint: str | None, seed: int) -> Expectation | None:
    """Rehearse in a process of its own: a thread would keep a hold from the page waiting."""
    words = (sequence, str(seed), *([joint] if joint else []))
    process = await asyncio.create_subprocess_exec(
        *(sys.executable, "-P", "-m", "coordinator.operate.expectation_process", *words),
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.DEVNULL,
    )
    try:
        told, _ = await process.communicate()
    finally:
        with contextlib.suppress(ProcessLookupError):
            process.kill()
    return EXPECTED.validate_json(told) if told else None


async def _read_run(feed: Feed, expected: "asyncio.Task[Expectation | None]") -> None:
    """Take what the run says until it is gone."""
    reader = asyncio.StreamReader(limit=LINE_MAX)
    loop = asyncio.get_running_loop()
    await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
    while line := await reader.readline():
        said = json.loads(line)
        if "reply" in said:
            feed.take_reply(said)
            continue
        snapshot = said["snapshot"]
        if expected.done() and not expected.cancelled() and expected.exception() is None:
            known = expected.result()
            snapshot["to_go"] = None if known is None else known.to_go(snapshot)
            snapshot["ahead"] = None if known is None else known.ahead(snapshot)
        feed.history.keep(snapshot)
        feed.put(snapshot)


if __name__ == "__main__":
    asyncio.run(_serve_run(json.loads(sys.argv[1])))
