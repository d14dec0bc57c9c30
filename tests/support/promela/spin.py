"""Have SPIN judge a model: generate the verifier, compile it, run it, read what it says.

Units: ``*_s`` seconds; ``*_mb`` mebibytes, as SPIN counts.
"""

import re
import shutil
import subprocess
import time
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from coordinator.core.plan import Plan
from coordinator.sequence.compiler.own_properties import OwnProperty
from tests.support.promela.export import FIRST_OWN, SHARED, to_promela

DEPTH_MAX = 5_000_000
"""Chosen: the search may go this deep; deeper is told and never counts as good."""
MEMORY_MB = 4_000
"""Chosen: more memory than this is not asked for."""
STUCK = "progress"
"""It stands still, or goes round for ever, although nothing more goes wrong and people help."""
_BROKEN = re.compile(r"assertion violated \(hit!=(\d+)\)")
_CYCLE = re.compile(r"^pan:\d+: acceptance cycle", re.MULTILINE)
_NUMBER = r"\s*([\d.e+]+)"


class SpinFailed(Exception):  # noqa: N818 (it is no error of the user's)
    """SPIN or the C compiler is missing, or refused the model."""


@dataclass(frozen=True, slots=True)
class Opinion:
    """What SPIN says about a plan."""

    is_complete: bool
    """False where a bound cut the search and nothing was found."""
    broken: str = ""
    """The first property found broken; empty for none."""
    states: int = 0
    transitions: int = 0
    bytes_per_state: int = 0
    memory_mb: float = 0.0
    generate_s: float = 0.0
    compile_s: float = 0.0
    run_s: float = 0.0

    @property
    def is_proved(self) -> bool:
        """Tell whether everything was seen and nothing was wrong."""
        return self.is_complete and not self.broken


def ask_spin(
    plan: Plan,
    properties: tuple[OwnProperty, ...] = (),
    causes: int = 1,
    memory_mb: int = MEMORY_MB,
) -> Opinion:
    """Have SPIN judge a plan.

    Args:
        plan: What is to be judged.
        properties: Its author's own.
        causes: Up to how many things may go wrong.
        memory_mb: Where the search is given up.

    Raises:
        SpinFailed: `spin` or `gcc` is missing, or refuses the model.
    """
    missing = [name for name in ("spin", "gcc") if shutil.which(name) is None]
    if missing:
        names = " and ".join(missing)
        raise SpinFailed(f"{names}: not installed, must be; apt-get install spin gcc")
    with TemporaryDirectory() as folder:
        begin_s = time.monotonic()
        (Path(folder) / "plan.pml").write_text(to_promela(plan, properties, causes), "utf-8")
        _run(folder, "spin", "-a", "plan.pml")
        generated_s = time.monotonic()
        # Every step reads what all lanes do, so SPIN's own reduction finds nothing to leave out.
        flags = ("-DNOREDUCE", "-DNOFAIR", f"-DMEMLIM={memory_mb}", "-DVECTORSZ=4096")
        _run(folder, "gcc", "-O1", "-w", *flags, "-o", "pan", "pan.c")
        compiled_s = time.monotonic()
        said = _run(folder, "./pan", "-a", f"-m{DEPTH_MAX}", "-n")
        ended_s = time.monotonic()
    times_s = (generated_s - begin_s, compiled_s - generated_s, ended_s - compiled_s)
    return _read(said, properties, times_s)


def _run(folder: str, *command: str) -> str:
    made = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    if made.returncode and command[0] != "./pan":
        raise SpinFailed(f"{command[0]}: {(made.stdout + made.stderr).strip()[-500:]}")
    return made.stdout + made.stderr


def _read(
    said: str, properties: tuple[OwnProperty, ...], times_s: tuple[float, float, float]
) -> Opinion:
    if "State-vector" not in said:
        raise SpinFailed(f"pan: {said.strip()[-500:]}")
    broken = _BROKEN.search(said)
    name = ""
    if broken:
        number = int(broken.group(1))
        own = number - FIRST_OWN
        name = f"properties.{properties[own].name}" if own >= 0 else SHARED[number - 1]
    elif _CYCLE.search(said):
        name = STUCK
    cut = "Search not completed" in said or "max search depth too small" in said
    return Opinion(
        is_complete=bool(name) or not cut,
        broken=name,
        states=_number(said, _NUMBER + r" states, stored"),
        transitions=_number(said, _NUMBER + r" transitions"),
        bytes_per_state=_number(said, r"State-vector" + _NUMBER + r" byte"),
        memory_mb=float(_found(said, _NUMBER + r"\s+total actual memory usage") or 0.0),
        generate_s=times_s[0],
        compile_s=times_s[1],
        run_s=times_s[2],
    )


def _number(said: str, pattern: str) -> int:
    return int(float(_found(said, pattern) or 0))


def _found(said: str, pattern: str) -> str:
    found = re.search(pattern, said)
    return found.group(1) if found else ""
