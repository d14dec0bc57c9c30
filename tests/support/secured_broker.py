"""A Mosquitto as the verb `contract --broker-config` sets it up, with one account per party."""

import contextlib
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from aiomqtt import Client, ProtocolVersion
from typer.testing import CliRunner

from coordinator.cli.app import app
from coordinator.live.mqtt_link import Address
from tests.support.brokers import MOSQUITTO, free_port, wait_listening
from tests.support.sequence_files import SEQUENCES


class Secured:
    """A broker as the verb sets it up."""

    def __init__(self, folder: Path, port: int) -> None:
        self.folder = folder
        self.port = port
        self.parties = folder / "parties"
        self._process: subprocess.Popen[bytes] | None = None

    def address(self, party: str) -> Address:
        """Return where it is, for a party."""
        return Address.parse(f"mqtts://127.0.0.1:{self.port}").known_as(party, self.parties)

    def client(self, party: str, **changes: Any) -> Client:
        """Return a bare client that is let in as a party, unless something is changed."""
        known = self.address(party)
        given: dict[str, Any] = {
            "username": known.username,
            "password": known.password,
            "tls_context": known.trust(),
            **changes,
        }
        return Client("127.0.0.1", self.port, protocol=ProtocolVersion.V5, timeout=3, **given)

    def start(self) -> None:
        """Start it, or start it anew after it was killed."""
        assert MOSQUITTO is not None
        with (self.folder / "log").open("ab") as log:
            self._process = subprocess.Popen(
                [MOSQUITTO, "-c", str(self.folder / "mosquitto.conf")], stdout=log, stderr=log
            )
        wait_listening(self.port)

    def kill(self) -> None:
        """Let it die as by a power cut; what it kept is gone."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(5)
            self._process = None


@contextlib.contextmanager
def secured(folder: Path) -> Iterator[Secured]:
    """Run a broker set up by the verb for the shipped cell, with simulated parties."""
    port = free_port()
    words = ["contract", str(SEQUENCES / "cells" / "sill_point.yaml"), "--simulated"]
    words += ["--broker-config", str(folder), "--host", "127.0.0.1", "--port", str(port)]
    result = CliRunner().invoke(app, words)
    assert result.exit_code == 0, result.stderr
    broker = Secured(folder, port)
    try:
        broker.start()
        yield broker
    finally:
        broker.kill()
