"""How long a proof takes, beside SPIN on a model of the same plan: generate, compile, run.

    python -m tests.bench.bench_proof

Prints seconds of a clock, states per second, bytes per state and ratios; asserts nothing. SPIN's
model is coarser: it knows no messages (`tests/support/promela/README.md`), so has fewer steps for
the same thing. Ours decides alike places once, and every step of it is the real core's.
"""

import resource
import time
from multiprocessing import get_context
from multiprocessing.connection import Connection
from typing import NamedTuple

from coordinator.prove import Exploration, Limits, explore
from coordinator.sequence import load
from tests.bench.results import Results
from tests.support.promela import Opinion, ask_spin
from tests.support.sequence_files import SEQUENCES

ROWS = (
    *(("breakout", bolts, 1) for bolts in (6, 8, 12, 16, 20)),
    *(("makeup", bolts, 1) for bolts in (6, 8, 12, 16, 20)),
    *((kind, 8, causes) for kind in ("breakout", "makeup") for causes in (0, 2)),
)
"""Growth with bolts first, then with causes; SPIN needs more than 10 GB for 2 on a make-up."""


class Proved(NamedTuple):
    """What our own proof took."""

    found: Exploration
    took_s: float
    memory_bytes: int


def main() -> None:
    """Measure and print."""
    told = Results.begin("proof")
    print("sequence     causes |    ours s   decided stands for   steps/s states/s B/state", end="")
    print(" |  generate compile      run    whole    states B/state | ours to SPIN")
    for kind, bolts, causes in ROWS:
        name = f"{kind}_{bolts}"
        ours, spin = _alone(name, causes), _by_spin(name, causes)
        print(_row(name, causes, ours, spin), flush=True)
        words = f"{name}, {causes} causes"
        told.add(f"{words}, decided", ours.found.states, "states")
        told.add(f"{words}, steps", ours.found.transitions / ours.took_s, "per second")
        told.add(f"{words}, to SPIN", ours.took_s / whole_s(spin), "times")
    print(_left_out("breakout_8"))
    told.write()


def _left_out(name: str) -> str:
    """Tell how many states, counted with no order of steps left out, a second answers for."""
    plan = load(SEQUENCES / f"{name}.yaml").plan
    whole = explore(plan, Limits(1, is_modular=False))
    began_s = time.perf_counter()
    explore(plan, Limits(1))
    took_s = time.perf_counter() - began_s
    return (
        f"{name}, 1 cause: {whole.stands_for} states with no order left out, "
        f"{whole.stands_for / took_s:.0f} of them answered for per second"
    )


def whole_s(spin: Opinion) -> float:
    """Return what SPIN takes with all that it needs before it runs."""
    return spin.generate_s + spin.compile_s + spin.run_s


def _by_spin(name: str, causes: int) -> Opinion:
    return ask_spin(load(SEQUENCES / f"{name}.yaml").plan, (), causes)


def _row(name: str, causes: int, ours: Proved, spin: Opinion) -> str:
    found = ours.found
    done = "" if found.is_proved and spin.is_proved else f"  proved: {found.is_proved}, SPIN: "
    done += "" if not done else str(spin.is_proved)
    return (
        f"{name:12} {causes:6} | {ours.took_s:9.2f} {found.states:9} {found.stands_for:10} "
        f"{found.transitions / ours.took_s:9.0f} {found.states / ours.took_s:8.0f} "
        f"{ours.memory_bytes / found.states:7.0f} | {spin.generate_s:9.2f} {spin.compile_s:7.2f} "
        f"{spin.run_s:8.2f} {whole_s(spin):8.2f} {spin.states:9} {spin.bytes_per_state:7} | "
        f"{ours.took_s / whole_s(spin):.2f}{done}"
    )


def _alone(name: str, causes: int) -> Proved:
    """Prove in a process of its own, so that no earlier proof's memory is counted."""
    context = get_context("fork")
    there, here = context.Pipe()
    process = context.Process(target=_prove, args=(name, causes, there))
    process.start()
    there.close()
    made: Proved = here.recv()
    process.join()
    return made


def _prove(name: str, causes: int, there: Connection) -> None:
    plan = load(SEQUENCES / f"{name}.yaml").plan
    before_kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    begin_s = time.perf_counter()
    found = explore(plan, Limits(causes))
    took_s = time.perf_counter() - begin_s
    after_kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    there.send(Proved(found, took_s, (after_kib - before_kib) * 1024))


if __name__ == "__main__":
    main()
