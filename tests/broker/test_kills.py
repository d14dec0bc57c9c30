"""Real processes killed with SIGKILL over Mosquitto: runs end, and arms hold by themselves."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from coordinator.wire.messages import Accepted, Do, Interrupted
from tests.support.arm_side import ArmSide
from tests.support.brokers import MOSQUITTO, mosquitto
from tests.support.live_cell import live_cell

pytestmark = [
    pytest.mark.broker,
    pytest.mark.skipif(MOSQUITTO is None, reason="Mosquitto is not installed"),
]
KILLS = 200
BRAKE_US = 2_500_000
"""What an arm may take to finish or brake a short move, and a slow machine to write it down."""


@pytest.mark.timeout(900)
def test_two_hundred_kills_at_random_end_complete_or_held(tmp_path: Path) -> None:
    """Coordinators, arms, floors and brokers die at any moment; nothing is ever pulled twice."""
    words = [sys.executable, "-m", "tests.support.kill_everything", str(tmp_path)]
    done = subprocess.run([*words, "--kills", str(KILLS)], check=False, capture_output=True)
    assert done.stdout, done.stderr
    document = json.loads(done.stdout)

    assert document["wrong"] == []
    assert sum(document["kills"].values()) == KILLS
    assert set(document["kills"]) == {"coordinator", "fore", "aft", "floor", "broker"}
    assert set(document["ends"]) <= {"complete", "held"}
    assert document["ends"]["complete"] >= sum(document["ends"].values()) // 4


def times_us(side: ArmSide, kind: type[Accepted] | type[Interrupted]) -> dict[str, int]:
    """Return when each arm wrote an entry of that kind, by its own clock."""
    return {
        name: one.sent_us
        for name, store in side.stores.items()
        for one in store.entries
        if isinstance(one.body, kind)
    }


@pytest.mark.timeout(120)
def test_arms_hold_by_themselves_when_the_lease_runs_out(
    tmp_path: Path, record_property: Callable[[str, object], None]
) -> None:
    """Nobody is left to tell them: the coordinator is dead, and both arms are at work."""
    (tmp_path / "broker").mkdir()
    with (
        mosquitto(tmp_path / "broker") as port,
        live_cell(tmp_path, f"mqtt://127.0.0.1:{port}") as cell,
    ):
        side = cell.wait_for(lambda side: len(times_us(side, Accepted)) == 2)
        assert {do.action for do in side.commands.values() if isinstance(do, Do)} == {"change_tool"}
        killed_us = time.time_ns() // 1_000
        os.kill(cell.processes["coordinator"], signal.SIGKILL)
        side = cell.wait_for(lambda side: len(times_us(side, Interrupted)) == 2)

    lease_us = cell.loaded.plan.timing.lease_us
    for name, stood_us in times_us(side, Interrupted).items():
        took_us = stood_us - killed_us
        record_property(f"{name}_stood_after_s", took_us / 1e6)
        assert (
            lease_us - cell.loaded.plan.timing.renew_us - 200_000 <= took_us <= lease_us + BRAKE_US
        )
