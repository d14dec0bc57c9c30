"""The embedded broker: starts on a free port, stays out of Ctrl-C's reach, leaves nothing."""

import asyncio
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from coordinator.live.broker import BrokerFailed, EmbeddedBroker
from coordinator.live.mqtt_link import Address, MqttLink

pytestmark = pytest.mark.broker


def test_it_starts_on_a_free_port_and_frees_it_again() -> None:
    """Two runs on one machine must not meet on one port."""
    with EmbeddedBroker() as first, EmbeddedBroker() as second:
        ports = (first.port, second.port)
        assert first.is_running
        assert second.is_running

    assert ports[0] != ports[1]
    for port in ports:
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.0.0.1", port), timeout=1.0)


def test_a_taken_port_is_told_with_its_code() -> None:
    """Somebody else's broker must not be mistaken for ours."""
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        broker = EmbeddedBroker(other.getsockname()[1])

        with pytest.raises(BrokerFailed, match=r"the port is taken.*LNK010"):
            broker.start()


def test_stopping_twice_is_no_error() -> None:
    """Clean-up code runs on every way out."""
    broker = EmbeddedBroker()
    broker.start()

    broker.stop()
    broker.stop()

    assert not broker.is_running


def answers(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), timeout=1.0).close()
    except OSError:
        return False
    return True


SCRIPT = """
import os, sys
from coordinator.live.broker import EmbeddedBroker
broker = EmbeddedBroker()
broker.start()
print(broker.port, flush=True)
sys.stdin.read()
os._exit(9)
"""


def test_it_says_nothing_and_ends_with_a_parent_that_dies() -> None:
    """A crashed run must not leave a bus behind."""
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    parent = subprocess.Popen(
        [sys.executable, "-c", SCRIPT],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=environment,
    )
    assert parent.stdout is not None
    port = int(parent.stdout.readline())

    rest, errors = parent.communicate(b"", timeout=10)

    assert (parent.returncode, rest, errors) == (9, b"", b"")
    while answers(port):  # until the broker's process has noticed; the test's time limit ends it
        pass


def test_an_interrupt_of_the_whole_group_leaves_it_running() -> None:
    """Ctrl-C reaches a terminal's whole group; the bus must outlive it to carry the holds."""
    previous = signal.signal(signal.SIGINT, lambda number, frame: None)
    try:
        with EmbeddedBroker() as broker:
            process = broker._process
            assert process is not None
            assert os.getpgid(process.pid) != os.getpgrp()
            os.kill(os.getpid(), signal.SIGINT)
            assert broker.is_running
    finally:
        signal.signal(signal.SIGINT, previous)


def test_small_messages_are_not_held_back() -> None:
    """Nagle's algorithm with delayed acknowledgement would cost some 40 ms a command."""

    async def scenario() -> int:
        with EmbeddedBroker() as broker:
            link = MqttLink(Address(port=broker.port), "cell", (), "near")
            await link.open()
            client = link._client
            assert client is not None
            raw = client._client.socket()
            assert isinstance(raw, socket.socket)
            value = raw.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
            await link.close()
            return value

    assert asyncio.run(scenario()) != 0


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("broker.example", Address("broker.example", 1883)),
        ("mqtt://10.0.0.7:1884", Address("10.0.0.7", 1884)),
        ("mqtts://broker.example", Address("broker.example", 8883, tls=True)),
        ("mqtt://[::1]:5", Address("::1", 5)),
    ],
)
def test_an_address_is_read_in_its_usual_forms(text: str, address: Address) -> None:
    """People write an address as they know it from elsewhere."""
    assert Address.parse(text) == address


@pytest.mark.parametrize("text", ["", "http://x", "mqtt://", "mqtt://x:port", "mqtts://a@x"])
def test_an_address_of_another_form_is_refused(text: str) -> None:
    """A wrong scheme must not silently become a host name."""
    with pytest.raises(ValueError, match=r"broker|Port|port"):
        Address.parse(text)


def test_a_password_never_shows() -> None:
    """Addresses end in logs."""
    address = Address("h", 1, "fore", "secret")

    assert "secret" not in f"{address} {address!r}"


def test_a_broker_whose_parent_was_killed_leaves_no_folder(tmp_path: Path) -> None:
    """Every run that is killed would leave one behind, for good."""
    code = (
        "import os, signal, tempfile; tempfile.tempdir = os.environ['FOLDER']\n"
        "from coordinator.live.broker import EmbeddedBroker\n"
        "broker = EmbeddedBroker(); broker.start(); print(os.listdir(os.environ['FOLDER']))\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "FOLDER": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )
    end_s = time.monotonic() + 10.0
    while list(tmp_path.iterdir()) and time.monotonic() < end_s:
        time.sleep(0.05)

    assert "bothsides-broker-" in done.stdout, done.stderr
    assert list(tmp_path.iterdir()) == []
