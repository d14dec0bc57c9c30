"""Kill processes of real cells at random with SIGKILL, and see how their runs end.

Each cell has a Mosquitto, two arms, the floor and a coordinator, each a process of its own.
``python -m tests.support.kill_everything FOLDER`` prints one JSON document.
"""

import argparse
import contextlib
import json
import os
import random
import signal
import subprocess
import sys
import time
import traceback
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from coordinator.operate.cell_clock import CellClock
from coordinator.rehearse.simulated import Simulation
from coordinator.sequence import Loaded, load
from tests.support.brokers import MOSQUITTO, free_port, wait_listening
from tests.support.kill_party import END_FILE, arm_side_of, be_coordinator, be_party
from tests.support.short_sequence import WINDOW_US, write_short_sequence

TICK_S = 0.01
SPEED = 15.0
"""Chosen: a run of a minute takes a few seconds, and two cores still keep several in time."""
BETWEEN_S = (0.05, 1.2)
"""Between two kills of a cell; chosen to fall into every part of a run and of a recovery."""
AWAY_S = (0.0, 0.5)
"""How long the victim is away."""
KILLS_A_RUN = 5
"""Chosen: a run that is killed for ever ends never."""
HANGS_S = 90.0
"""Chosen: many times what is left of a run after its last kill."""
VICTIMS = ("coordinator", "coordinator", "fore", "aft", "floor", "broker")
ENDS = ("complete", "held")


@dataclass
class Totals:
    """What is counted over all cells."""

    kills: Counter[str] = field(default_factory=Counter)
    ends: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)


class Cell:
    """One cell after another run, killed until its share of kills is used up."""

    def __init__(self, folder: Path, loaded: Loaded, sequence: Path, kills: int, seed: int) -> None:
        self._folder = folder
        self._loaded = loaded
        self._sequence = sequence
        self._rng = random.Random(seed)
        self._left = kills
        self._port = free_port()
        self._runs = 0
        self._processes: dict[str, int] = {}
        self._back_s: dict[str, float] = {}
        self._names = Simulation(loaded, 1).names
        self.is_done = False
        self._begin()

    def tick(self, now_s: float, totals: Totals) -> None:
        """Bring victims back, kill the next, and judge a run that has ended."""
        for name, due_s in list(self._back_s.items()):
            if due_s <= now_s:
                del self._back_s[name]
                self._start(name)
        self._reap(totals)
        if (self._run_folder / END_FILE).is_file():
            self._judge(totals)
            self._end_run(totals)
            return
        if self._kills_left and now_s >= self._kill_s:
            self._kill(now_s, totals)
        elif now_s > self._kill_s + HANGS_S:
            totals.wrong.append(f"{self._run_folder}: never ends")
            self._end_run(totals)

    def stop(self) -> None:
        """Leave no process behind."""
        for name in list(self._processes):
            self._end(name)

    def _begin(self) -> None:
        self._runs += 1
        self._run_folder = self._folder / f"run_{self._runs}"
        self._run_folder.mkdir(parents=True)
        self._clock = CellClock(time.time_ns() // 1_000, SPEED)
        self._kills_left = min(self._left, KILLS_A_RUN)
        self._left -= self._kills_left
        self._kill_s = time.monotonic() + self._rng.uniform(*BETWEEN_S)
        for name in ("broker", *self._names, "coordinator"):
            self._start(name)

    def _start(self, name: str) -> None:
        if name == "broker":
            self._processes[name] = self._start_broker()
            return
        folder, clock, loaded = self._run_folder, self._clock, self._loaded
        broker = f"mqtt://127.0.0.1:{self._port}"
        if name == "coordinator":
            self._processes[name] = fork(
                lambda: be_coordinator(loaded, self._sequence, folder, broker, clock),
                folder / f"{name}.log",
            )
        else:
            self._processes[name] = fork(
                lambda: be_party(name, loaded, folder, broker, clock), folder / f"{name}.log"
            )

    def _start_broker(self) -> int:
        assert MOSQUITTO is not None
        configuration = self._folder / "mosquitto.conf"
        configuration.write_text(
            f"listener {self._port} 127.0.0.1\nallow_anonymous true\npersistence false\n"
            "log_type error\nset_tcp_nodelay true\n",
            encoding="utf-8",
        )
        with (self._folder / "mosquitto.log").open("ab") as output:
            started = subprocess.Popen(
                [MOSQUITTO, "-c", str(configuration)], stdout=output, stderr=output
            )
        if not self._processes:
            wait_listening(self._port)
        started.returncode = 0  # Waited for here, by its number, as all others.
        return started.pid

    def _kill(self, now_s: float, totals: Totals) -> None:
        victim = self._rng.choice(VICTIMS)
        if victim not in self._processes:
            return
        self._end(victim)
        totals.kills[victim] += 1
        self._kills_left -= 1
        self._back_s[victim] = now_s + self._rng.uniform(*AWAY_S)
        self._kill_s = now_s + self._rng.uniform(*BETWEEN_S)

    def _end(self, name: str) -> None:
        number = self._processes.pop(name)
        with contextlib.suppress(ProcessLookupError):
            os.kill(number, signal.SIGKILL)
        with contextlib.suppress(ChildProcessError):
            os.waitpid(number, 0)

    def _reap(self, totals: Totals) -> None:
        """Note a process that has ended by itself and should not have."""
        for name, number in list(self._processes.items()):
            ended, status = os.waitpid(number, os.WNOHANG)
            if not ended:
                continue
            del self._processes[name]
            if name != "coordinator" or status:
                totals.wrong.append(f"{self._run_folder}: {name} ended with {status}")
                self._back_s[name] = time.monotonic() + AWAY_S[1]

    def _judge(self, totals: Totals) -> None:
        ended = json.loads((self._run_folder / END_FILE).read_text(encoding="utf-8"))
        totals.ends[ended["phase"]] += 1
        side, plan = arm_side_of(self._run_folder, self._names), self._loaded.plan
        wrong = side.double_pulls(WINDOW_US)
        if ended["phase"] == "complete":
            wrong += side.missing_steps(plan)
        elif ended["phase"] not in ENDS:
            wrong.append(f"ended {ended['phase']}: {ended['reason']}")
        totals.wrong += [f"{self._run_folder}: {one}" for one in wrong]

    def _end_run(self, totals: Totals) -> None:
        self._back_s = {}
        # Kills that this run was too short for are left to the next.
        self._left += self._kills_left
        self.stop()
        if self._left:
            self._begin()
        else:
            self.is_done = True


def fork(work: Callable[[], None], log: Path) -> int:
    """Do `work` in a process of its own; what it says goes to `log`."""
    number = os.fork()
    if number:
        return number
    status = 1
    try:
        descriptor = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
        os.dup2(descriptor, 1)
        os.dup2(descriptor, 2)
        work()
        status = 0
    except BaseException:
        os.write(2, traceback.format_exc().encode())
    finally:
        os._exit(status)


def main(arguments: Sequence[str] | None = None) -> int:
    """Kill, and print what came of it as JSON; return 1 if anything went wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--cells", type=int, default=4)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args(arguments)
    sequence = write_short_sequence(given.folder)
    loaded = load(sequence)
    totals = Totals()
    shares = [given.kills // given.cells] * given.cells
    shares[0] += given.kills - sum(shares)
    cells = [
        Cell(given.folder / f"cell_{index}", loaded, sequence, share, given.seed + index)
        for index, share in enumerate(shares)
    ]
    begin_s = time.monotonic()
    try:
        while not all(cell.is_done for cell in cells):
            for cell in cells:
                if not cell.is_done:
                    cell.tick(time.monotonic(), totals)
            time.sleep(TICK_S)
    finally:
        for cell in cells:
            cell.stop()
    took_s = round(time.monotonic() - begin_s, 1)
    print(
        json.dumps(
            {"kills": totals.kills, "ends": totals.ends, "wrong": totals.wrong, "took_s": took_s}
        )
    )
    return 1 if totals.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
