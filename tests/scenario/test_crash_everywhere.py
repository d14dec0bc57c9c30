"""The coordinator dies at every write and every publish of the full make-up, in many ways.

By default every place at which more than the lease is renewed, in every way, and a share of the
others; all of them with BOTHSIDES_WHOLE=1 in the environment (some ten minutes of one core).
"""

import json
import os
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from coordinator.core.events import CommandProgressed, Event, PartySeen, SignalSeen, TimePassed
from coordinator.core.state import State
from coordinator.live.coordinator import Coordinator, Observers
from coordinator.live.operator import OperatedCoordinator
from coordinator.rehearse.simulated import Simulation
from coordinator.sequence import load
from coordinator.wire.messages import Lease, Message
from sim_arms.network import Network
from sim_arms.world import World
from tests.support.crash_people import patient_person
from tests.support.crash_world import COMMIT_MODES, PUBLISH_MODE

MAKE_UP = Path(__file__).parents[2] / "sequences" / "makeup_8.yaml"
IS_WHOLE = bool(os.environ.get("BOTHSIDES_WHOLE"))
LEASE_EVERY = 1 if IS_WHOLE else 16
LEASE_MODES = len(COMMIT_MODES) if IS_WHOLE else 1
AGAIN_EVERY = 64 if IS_WHOLE else 480
TO_THE_END_EVERY = 100 if IS_WHOLE else 500
QUIET = (TimePassed, PartySeen, SignalSeen, CommandProgressed)
Hit = tuple[str, int, str]


@dataclass
class Counted:
    """What a run without any crash writes and publishes."""

    commits: list[bool] = field(default_factory=list)
    """For each commit whether only quiet events were in it."""
    publishes: dict[int, bool] = field(default_factory=dict)
    """For each number of the coordinator's messages whether it is a lease."""
    is_quiet: bool = True

    def append(self, event: Event) -> None:
        """Note an event."""
        self.is_quiet = self.is_quiet and isinstance(event, QUIET)

    def commit(self, state: State) -> None:
        """Note a commit."""
        self.commits.append(self.is_quiet)
        self.is_quiet = True

    def heard(self, time_us: int, target: str, message: Message) -> None:
        """Note a delivery; the coordinator numbers its messages itself, without a gap."""
        if message.source == "coordinator":
            self.publishes[message.sequence] = isinstance(message.body, Lease)


def count() -> Counted:
    """Run the make-up without the machinery of crashes, and count what there is."""
    loaded, counted = load(MAKE_UP), Counted()
    simulation = Simulation(loaded, 1)
    coordinator = Coordinator(loaded.plan, observers=Observers(counted))
    operated = OperatedCoordinator(coordinator, patient_person(loaded.plan))
    parties = [simulation.party(name) for name in simulation.names]
    world = World(parties, operated, Network(1), traced=counted.heard)
    world.run(lambda: coordinator.state.phase == "complete", 3600 * 1_000_000)
    assert coordinator.state.phase == "complete"
    return counted


def wanted_hits(counted: Counted) -> set[Hit]:
    """Return every way to die that must have been tried."""
    hits: set[Hit] = set()
    for number, is_quiet in enumerate(counted.commits, start=1):
        if not is_quiet:
            hits |= {("commit", number, mode) for mode in COMMIT_MODES}
        elif number % LEASE_EVERY == 0:
            turns = [(number + i) % len(COMMIT_MODES) for i in range(LEASE_MODES)]
            hits |= {("commit", number, COMMIT_MODES[turn]) for turn in turns}
    hits |= {
        ("publish", number, PUBLISH_MODE)
        for number, is_lease in counted.publishes.items()
        if not is_lease or number % LEASE_EVERY == 0
    }
    return hits


@pytest.mark.timeout(7200 if IS_WHOLE else 900)
def test_a_crash_at_every_write_and_publish_loses_and_doubles_nothing(tmp_path: Path) -> None:
    """Judged by ledgers kept on the arms' side; the places are counted without the enumerator."""
    out = tmp_path / "children"
    words = [sys.executable, "-m", "tests.support.crash_everywhere", str(MAKE_UP), str(out)]
    words += ["--lease-every", str(LEASE_EVERY), "--lease-modes", str(LEASE_MODES)]
    words += ["--again-every", str(AGAIN_EVERY), "--to-the-end-every", str(TO_THE_END_EVERY)]
    first = json.loads(subprocess.run(words, check=True, capture_output=True).stdout)
    children: list[dict[str, Any]] = [json.loads(line) for line in out.read_bytes().splitlines()]
    counted = count()

    assert (first["phase"], first["wrong"]) == ("complete", [])
    assert [(one["sites"], one["wrong"]) for one in children if one["wrong"]] == []
    assert sorted(counted.publishes) == list(range(1, len(counted.publishes) + 1))
    assert first["counts"] == {
        "commit": len(counted.commits),
        "publish": len(counted.publishes),
    }
    hits: list[Hit] = [
        (kind, number, mode)
        for one in children
        if not one["before"]
        for kind, number, mode in one["hits"]
    ]
    assert len(hits) == len(set(hits))
    assert set(hits) == wanted_hits(counted)
    check_recoveries(children)


def check_recoveries(children: list[dict[str, Any]]) -> None:
    """Every write of a recovery that was chosen must have been died at, from its first on."""
    found: dict[str, set[int]] = {}
    for one in children:
        for kind, number, _ in one["hits"] if one["before"] else []:
            if kind == "commit":
                found.setdefault(json.dumps(one["before"]), set()).add(number)
    assert len(found) >= 8
    for numbers in found.values():
        assert numbers == set(range(1, max(numbers) + 1))
        assert max(numbers) >= 5
