"""Resume a real cell whose last arm comes just before the hold is asked about again.

That is the moment at which a restart used to leave before the arm had heard the floor.
``python -m tests.support.late_arm FOLDER --times 20`` prints one JSON document.
"""

import argparse
import contextlib
import json
import os
import signal
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

from coordinator.core.events import Act as Deed
from coordinator.core.plan import Option
from coordinator.core.prompts import BUILT_IN, UNKNOWN_OUTCOME
from coordinator.operate.cell_clock import CellClock
from coordinator.operate.run_live import Resumption, Wishes, run_live
from coordinator.records.journal import FILE_NAME, Journal
from coordinator.records.replaying import replay
from coordinator.rehearse.simulated import Simulation
from coordinator.sequence import Act, Answer, Loaded, People, load
from tests.support.brokers import mosquitto
from tests.support.kill_everything import fork
from tests.support.kill_party import be_party
from tests.support.short_sequence import write_short_sequence

WAIT_S = 60.0
ANEW = "the coordinator has started anew: holding"
TICK_S = 0.01
STAYS_S = 2.0
"""Chosen: two heartbeats; an arm that has not heard the floor refuses within one."""
BEFORE_S = (0.10, 0.07, 0.04)
"""How long before the hold is asked about again the arm comes. The floor, started with the
coordinator, was seen to speak some 0.11 s before that moment, and then half a second later."""
LATE = "aft"


class LateArm:
    """One cell in a folder of its own."""

    def __init__(self, folder: Path, loaded: Loaded, sequence: Path, broker: str) -> None:
        self._folder = folder
        self._loaded = loaded
        self._sequence = sequence
        self._broker = broker
        self._clock = CellClock(time.time_ns() // 1_000)
        folder.mkdir(parents=True)

    def ends(self, before_s: float) -> str:
        """Return what came after the restart: empty if the run goes on, else why it holds."""
        with self._running("coordinator", *self._names()):
            self._wait_for("begin.log", "fore: change tool wrench")
        with self._running("floor", "fore", "coordinator", told="resume.log"):
            self._wait_for("resume.log", ANEW)
            time.sleep(self._away_s(before_s))
            with self._running(LATE):
                self._wait_for("resume.log", "the procedure is running")
                time.sleep(STAYS_S)
                told = self._told("resume.log").split("the procedure is restarting")[1]
        return next((line for line in told.splitlines() if "procedure is holding" in line), "")

    def _away_s(self, before_s: float) -> float:
        """Return how much longer the arm stays away."""
        told = self._told("resume.log").splitlines()
        line = next(one for one in told if one.endswith(f"alarm: {ANEW}"))
        minutes, seconds = line.split()[0].split(":")
        asked_s = int(minutes) * 60 + float(seconds) + self._loaded.plan.timing.hold_us / 1e6
        now_s = (time.time_ns() // 1_000 - self._clock.base_us) / 1e6
        return max(asked_s - before_s - now_s, 0.0)

    def _names(self) -> tuple[str, ...]:
        return Simulation(self._loaded, 1).names

    @contextlib.contextmanager
    def _running(self, *names: str, told: str = "begin.log") -> Iterator[None]:
        numbers = [fork(partial(self._be, name, told), self._folder / "log") for name in names]
        try:
            yield
        finally:
            for number in numbers:
                with contextlib.suppress(ProcessLookupError):
                    os.kill(number, signal.SIGKILL)
                os.waitpid(number, 0)

    def _be(self, name: str, told: str) -> None:
        if name != "coordinator":
            be_party(name, self._loaded, self._folder, self._broker, self._clock)
            return
        found = sorted((self._folder / "out").glob(f"*/{FILE_NAME}"))
        with (self._folder / told).open("w", buffering=1, encoding="utf-8") as file:
            wishes = self._wishes(lambda text: print(text, file=file), is_resumed=bool(found))
            if not found:
                run_live(wishes, self._broker)
                return
            journal = Journal.take_up(found[0])
            resumption = Resumption(journal, replay(self._loaded.plan, journal))
            run_live(wishes, self._broker, resumption)

    def _wishes(self, say: Callable[[str], None], *, is_resumed: bool) -> Wishes:
        answers = tuple(
            Answer(BUILT_IN[UNKNOWN_OUTCOME], Option.AGAIN, "test person") for _ in range(4)
        )
        restart = (Act(Deed.RESTART, "test person", when="held"),) if is_resumed else ()
        return Wishes(
            loaded=self._loaded,
            sequence_path=self._sequence,
            out=self._folder / "out",
            say=say,
            people=People(answers, restart),
            starts_parties=False,
            take_over=True,
            clock=self._clock,
        )

    def _told(self, name: str) -> str:
        path = self._folder / name
        return path.read_text(encoding="utf-8") if path.is_file() else ""

    def _wait_for(self, name: str, words: str) -> None:
        end_s = time.monotonic() + WAIT_S
        while words not in self._told(name):
            if time.monotonic() > end_s:
                raise AssertionError(f"'{words}' was never told: {self._told(name)}")
            time.sleep(TICK_S)


def resumed(folder: Path, times: int) -> list[str]:
    """Resume so many cells on one broker and return what came of each."""
    sequence = write_short_sequence(folder)
    loaded = load(sequence)
    found = []
    with mosquitto(folder) as port:
        for number in range(times):
            cell = LateArm(folder / str(number), loaded, sequence, f"mqtt://127.0.0.1:{port}")
            found.append(cell.ends(BEFORE_S[number % len(BEFORE_S)]))
    return found


def main() -> None:
    """Resume, and print how often the run went on."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--times", type=int, default=20)
    given = parser.parse_args()
    found = resumed(given.folder, given.times)
    held = [one for one in found if one]
    print(json.dumps({"resumed": len(found), "went on": len(found) - len(held), "held": held}))


if __name__ == "__main__":
    main()
