"""Every process a host of its own, and cables pulled in the middle of a pull: nobody is told."""

import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.support.brokers import MOSQUITTO
from tests.support.live_cell import are_both_pulling, has_nobody_pulling, live_cell
from tests.support.net_hosts import Hosts, hosts, why_no_hosts

pytestmark = [
    pytest.mark.broker,
    pytest.mark.timeout(300),
    pytest.mark.skipif(MOSQUITTO is None, reason="Mosquitto is not installed"),
]
SPEED = 3.0
PORT = 1883
NAMES = ("broker", "coordinator", "fore", "aft", "floor")


@pytest.fixture
def network() -> Iterator[Hosts]:
    """Give each process its host."""
    if why_not := why_no_hosts():
        pytest.skip(why_not)
    with hosts(NAMES) as built:
        yield built


@contextmanager
def broker_on(network: Hosts, folder: Path) -> Iterator[str]:
    """Run Mosquitto on its host; yields its address."""
    configuration = folder / "mosquitto.conf"
    where = network.address("broker")
    configuration.write_text(
        f"listener {PORT} {where}\nallow_anonymous true\npersistence false\nlog_type error\n"
        "set_tcp_nodelay true\n",
        encoding="utf-8",
    )
    words = network.command("broker", str(MOSQUITTO), "-c", str(configuration))
    with subprocess.Popen(words) as process:
        try:
            yield f"mqtt://{where}:{PORT}"
        finally:
            process.kill()


@pytest.mark.parametrize(
    "parted", [("coordinator",), ("aft",), ("broker",), ("fore", "aft")], ids="+".join
)
def test_hosts_parted_in_mid_pull_come_to_rest_and_pull_together_once_joined(
    tmp_path: Path, network: Hosts, parted: tuple[str, ...]
) -> None:
    """No lone pull while nobody can tell anybody anything, and none done twice afterwards."""
    with (
        broker_on(network, tmp_path) as broker,
        live_cell(tmp_path, broker, speed=SPEED, enter=network.enter) as cell,
    ):
        cell.wait_for(are_both_pulling)
        for name in parted:
            network.pull_cable(name)
        cell.wait_for(has_nobody_pulling)
        for name in parted:
            network.plug_cable(name)
        ended = cell.wait_end()

    assert ended == "complete", cell.told()
    assert cell.findings() == []
    assert cell.side().missing_steps(cell.loaded.plan) == []
    assert len(cell.judge().started()) >= 2, "the pull that was cut short, and the one after it"
