"""Make a journal as today's version writes it, for later versions to read."""

from pathlib import Path

from coordinator.live.coordinator import Coordinator, Observers
from coordinator.live.operator import OperatedCoordinator, OperatorScript
from coordinator.operate.pinned import program_version
from coordinator.records.journal import Head, Journal, PinnedFile
from coordinator.records.replaying import Replaying
from coordinator.rehearse.simulated import Simulation
from coordinator.sequence import load
from sim_arms.network import Network
from sim_arms.world import World
from tests.support.disks import MemoryDisk
from tests.support.short_sequence import write_short_sequence

TIME_US_MAX = 600_000_000


def journal_of_today(folder: Path) -> bytes:
    """Return the journal of the short sequence in virtual time; `folder` is scratch."""
    sequence = write_short_sequence(folder)
    loaded = load(sequence)
    files = tuple(
        PinnedFile.of(name, (folder / name).read_text(encoding="utf-8")) for name, _ in loaded.files
    )
    head = Head(
        "short_of_old",
        loaded.plan.digest,
        files,
        seed=1,
        program=program_version(),
        sequence=loaded.files[0][0],
    )
    disk = MemoryDisk()
    journal = Journal.create_on(disk, Path("journal.log"), head)
    journal.mark_opened(1, 0, "2030-01-01T00:00:00+00:00")
    coordinator = Coordinator(loaded.plan, observers=Observers(journal))
    simulation = Simulation(loaded, 1)
    world = World(
        [simulation.party(name) for name in simulation.names],
        OperatedCoordinator(coordinator, OperatorScript(loaded.plan)),
        Network(1),
    )
    world.run(lambda: coordinator.state.phase == "complete", TIME_US_MAX)
    journal.close()
    return bytes(disk.content)


def told_by(replayed: Replaying) -> str:
    """Return what a journal leads to, as text to be stored beside it."""
    plan = replayed.plan
    lines = [f"{replayed.events} events, {replayed.state.phase}"]
    for effect, at_us in replayed.proofs:
        results = ", ".join(f"{name} {value:.6g}" for name, value in effect.results)
        party, step = plan.parties[effect.party].name, plan.nodes[effect.node].name
        lines.append(f"{at_us / 1e6:.2f} s {party}: {step}, {effect.outcome}: {results}")
    return "\n".join(lines) + "\n"
