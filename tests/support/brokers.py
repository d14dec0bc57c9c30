"""Brokers and cables for tests: Mosquitto on a free port, and a cable that can be cut."""

import asyncio
import contextlib
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

MOSQUITTO = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")


def free_port() -> int:
    """Return a port that nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@contextlib.contextmanager
def mosquitto(folder: Path) -> Iterator[int]:
    """Run Mosquitto with its configuration in `folder`; yields the port."""
    with mosquitto_on(folder, free_port()) as port:
        yield port


@contextlib.contextmanager
def mosquitto_on(folder: Path, port: int) -> Iterator[int]:
    """Run Mosquitto on a port, such as one that another has left."""
    assert MOSQUITTO is not None
    configuration = folder / "mosquitto.conf"
    configuration.write_text(
        f"listener {port} 127.0.0.1\nallow_anonymous true\npersistence false\nlog_type error\n",
        encoding="utf-8",
    )
    with (folder / "mosquitto.log").open("wb") as output:
        process = subprocess.Popen(
            [MOSQUITTO, "-c", str(configuration)], stdout=output, stderr=output
        )
        try:
            wait_listening(port)
            yield port
        finally:
            process.terminate()
            process.wait(5)


def processes_with(word: str) -> list[int]:
    """Return the processes that were started with a word on their command line."""
    found = []
    for entry in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):
            if word in (entry / "cmdline").read_bytes().decode().split("\0"):
                found.append(int(entry.name))
    return found


def wait_listening(port: int) -> None:
    """Return once somebody listens on `port`; fail after ten seconds."""
    end_s = time.monotonic() + 10.0
    while time.monotonic() < end_s:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 0.2):
            return
    raise AssertionError(f"nobody listens on {port}")


class Cable:
    """A TCP forwarder to a broker that can be cut and mended."""

    def __init__(self, target_port: int) -> None:
        self.port = 0
        self._target_port = target_port
        self._is_cut = False
        self._server: asyncio.Server | None = None
        self._writers: list[asyncio.StreamWriter] = []
        self._joins: list[asyncio.Task[None]] = []

    async def lay(self) -> None:
        """Start to forward."""
        self._server = await asyncio.start_server(self._join, "127.0.0.1", 0)
        self.port = self._server.sockets[0].getsockname()[1]

    def cut(self) -> None:
        """Break every connection abruptly and refuse new ones."""
        self._is_cut = True
        for writer in self._writers:
            writer.transport.abort()

    def mend(self) -> None:
        """Forward again."""
        self._is_cut = False

    async def remove(self) -> None:
        """Stop forwarding for good, and leave no socket open."""
        if self._server is not None:
            self._server.close()
        self.cut()
        await asyncio.gather(*self._joins, return_exceptions=True)
        for writer in self._writers:
            with contextlib.suppress(OSError):
                await writer.wait_closed()

    async def _join(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        joining = asyncio.current_task()
        assert joining is not None
        self._joins.append(joining)
        self._writers.append(writer)
        if self._is_cut:
            writer.transport.abort()
            return
        far_reader, far_writer = await asyncio.open_connection("127.0.0.1", self._target_port)
        self._writers.append(far_writer)
        if self._is_cut:
            writer.transport.abort()
            far_writer.transport.abort()
        await asyncio.gather(_pump(reader, far_writer), _pump(far_reader, writer))


async def _pump(source: asyncio.StreamReader, target: asyncio.StreamWriter) -> None:
    with contextlib.suppress(OSError):
        while data := await source.read(65_536):
            target.write(data)
            await target.drain()
        target.close()
