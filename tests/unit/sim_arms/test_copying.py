"""Copies of a running world: they go on as their original, and take causes as if known before."""

from collections.abc import Sequence

import pytest

from coordinator.live.coordinator import Coordinator
from coordinator.live.operator import OperatedCoordinator, OperatorScript
from coordinator.rehearse.simulated import Simulation
from coordinator.sequence import Loaded, load
from sim_arms.causes import Cause
from sim_arms.copying import Copier, copy_world, make_copyable
from sim_arms.network import Network
from sim_arms.trace import TraceWriter
from sim_arms.world import World
from tests.support.sequence_files import SEQUENCES

MOMENTS_S = (3, 140, 325, 512, 794, 1024, 1448)
"""Of every phase of a make-up: both arms busy, one busy, both pulling, the hoist at work."""
WATCHED_US = 40_000_000


@pytest.fixture(scope="module", name="loaded")
def fixture_loaded() -> Loaded:
    return load(SEQUENCES / "makeup_8.yaml")


def operated(loaded: Loaded) -> OperatedCoordinator:
    script = OperatorScript(loaded.plan)
    return OperatedCoordinator(Coordinator(loaded.plan), script)


def world_of(loaded: Loaded, causes: Sequence[Cause] = ()) -> World:
    """Return a world that can be copied, with a coordinator that starts."""
    simulation = Simulation(loaded, 7, tuple(causes))
    parties = [simulation.party(name) for name in simulation.names]
    for party in parties:
        make_copyable(party)
    return World(parties, operated(loaded), Network(7, causes), causes=causes)


def copy_of(world: World) -> tuple[World, list[str]]:
    """Return a copy, and where the lines of its trace will stand."""
    lines: list[str] = []
    whole = Copier().copy(world.coordinator)
    return copy_world(world, whole, TraceWriter(lines.append)), lines


def run_to(world: World, time_us: int) -> None:
    world.run(lambda: world.now_us >= time_us, time_us)


def test_a_copy_goes_on_as_its_original_to_the_byte(loaded: Loaded) -> None:
    """N5: what is found in a copy must be true of the run that it was copied from."""
    world = world_of(loaded)
    for moment_s in MOMENTS_S:
        run_to(world, moment_s * 1_000_000)
        until_us = world.now_us + WATCHED_US
        first, of_first = copy_of(world)
        run_to(first, until_us)
        second, of_second = copy_of(world)
        run_to(second, until_us)

        of_world: list[str] = []
        world._traced = TraceWriter(of_world.append)
        run_to(world, until_us)
        world._traced = None

        assert of_first == of_second == of_world
        assert len(of_world) > 500


TROUBLES = (
    Cause("person_steps_in", at_us=330_000_017, for_us=3_000_000),
    Cause("party_cut", side="aft", at_us=331_200_003, for_us=5_000_000),
    Cause("party_restarts", side="fore", at_us=334_000_001),
    Cause("loss", at_us=330_500_011, for_us=6_000_000, parameters=(("share", 0.3),)),
    Cause("reorder", at_us=330_500_013, for_us=6_000_000, parameters=(("share", 0.3),)),
    Cause("glare", side="fore", at_us=330_000_019, for_us=9_000_000),
)


def test_causes_added_to_a_copy_act_as_if_they_had_been_known_from_the_start(
    loaded: Loaded,
) -> None:
    """A case is replayed from the start, where its causes are all known."""
    clean, knowing = world_of(loaded), world_of(loaded, TROUBLES)
    for world in (clean, knowing):
        run_to(world, 329_000_000)

    added, of_added = copy_of(clean)
    added.add_causes(TROUBLES)
    known, of_known = copy_of(knowing)
    for world in (added, known):
        run_to(world, 329_000_000 + WATCHED_US)

    assert of_added == of_known
    assert any('"online":false' in line for line in of_added)


def test_a_party_that_cannot_be_copied_is_refused_and_not_copied_wrongly(loaded: Loaded) -> None:
    """Half a copy would share a generator with its original."""
    world = World(
        [Simulation(loaded, 7).party(name) for name in ("fore", "aft", "floor")],
        operated(loaded),
        Network(7),
    )
    run_to(world, 9_000_000)

    with pytest.raises(TypeError, match="make the party copyable first"):
        copy_of(world)
