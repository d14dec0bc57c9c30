"""Run the embedded MQTT 5 broker (`iotcore`) on a free port of this machine.

It runs as a process of its own: it knows no shutdown, so that ending the process is the one clean
stop; and a Ctrl-C meant for us must not end the bus before the arms have been told to hold.

Units: ``*_s`` seconds.
"""

import contextlib
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from coordinator.wire.codec import BYTES_MAX

START_S = 10.0
"""Chosen: many times what a slow machine was seen to need (0.1 s)."""
STOP_S = 5.0
POLL_S = 0.02
_TEMPLATE = Path(__file__).with_name("broker.toml")
ATTEMPTS = 3
"""A free port may be taken by somebody else before the broker has it."""


class BrokerFailed(Exception):  # noqa: N818 (it says what happened)
    """The embedded broker did not start. Code LNK010."""


class EmbeddedBroker:
    """The broker as a context manager: `with EmbeddedBroker() as broker: ... broker.port`.

    Args:
        port: Port to listen on; 0 for a free one.
        host: Address to listen on; only this machine unless told otherwise.
    """

    def __init__(self, port: int = 0, host: str = "127.0.0.1") -> None:
        self.host = host
        self.port = port
        self._wanted = port
        self._process: subprocess.Popen[bytes] | None = None
        self._folder: tempfile.TemporaryDirectory[str] | None = None

    @property
    def is_running(self) -> bool:
        """Tell whether the broker's process lives."""
        return self._process is not None and self._process.poll() is None

    def start(self) -> None:
        """Start and wait until it takes connections.

        Raises:
            BrokerFailed: LNK010, with what the broker said last.
        """
        reason = ""
        for _ in range(1 if self._wanted else ATTEMPTS):
            self.port = self._wanted or _free_port(self.host)
            reason = self._start_once()
            if not reason:
                return
            self.stop()
        raise BrokerFailed(
            f"embedded broker at {self.host}:{self.port}: {reason}; "
            "choose another port or another broker [LNK010]"
        )

    def stop(self) -> None:
        """End the process and free the port; safe to call twice."""
        process, self._process = self._process, None
        if process is not None:
            if process.stdin is not None:
                with contextlib.suppress(OSError):
                    process.stdin.close()
            try:
                process.wait(STOP_S)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait(STOP_S)
        if self._folder is not None:
            self._folder.cleanup()
            self._folder = None

    def __enter__(self) -> "EmbeddedBroker":
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def _start_once(self) -> str:
        """Return an empty text when it listens, else why not."""
        if _answers(self.host, self.port):
            return "the port is taken"
        self._folder = tempfile.TemporaryDirectory(prefix="bothsides-broker-")
        folder = Path(self._folder.name)
        configuration, said = folder / "broker.toml", folder / "broker.log"
        configuration.write_text(
            _TEMPLATE.read_text("utf-8").format(
                host=self.host, port=self.port, bytes_max=BYTES_MAX + 1024
            ),
            encoding="utf-8",
        )
        script = Path(__file__).with_name("broker_process.py")
        with said.open("wb") as output:
            # -P: the script's own folder must not stand in the way of standard modules.
            self._process = subprocess.Popen(
                [sys.executable, "-P", str(script), str(configuration)],
                stdin=subprocess.PIPE,
                stdout=output,
                stderr=output,
                start_new_session=True,  # out of reach of the terminal's Ctrl-C
            )
        end_s = time.monotonic() + START_S
        while time.monotonic() < end_s:
            if self._process.poll() is not None:
                lines = said.read_text(encoding="utf-8", errors="replace").strip().splitlines()
                return lines[-1] if lines else f"ended with {self._process.returncode}"
            if _answers(self.host, self.port):
                return ""
            time.sleep(POLL_S)
        return f"not ready within {START_S} s"


def _free_port(host: str) -> int:
    with socket.socket() as probe:
        probe.bind((host, 0))
        port: int = probe.getsockname()[1]
        return port


def _answers(host: str, port: int) -> bool:
    try:
        with socket.create_connection((host, port), timeout=0.2):
            return True
    except OSError:
        return False
