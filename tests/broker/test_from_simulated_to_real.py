"""One side of a cell goes from simulated through shadow to real, opened by evidence alone."""

import asyncio
import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from coordinator.cli.documents.declared import schema_of_document
from coordinator.live.link import Delivered
from coordinator.live.mqtt_link import Address, MqttLink
from coordinator.records.journal import FILE_NAME, Journal
from coordinator.wire.messages import Do, Lease, Message, PartyState
from tests.support.brokers import MOSQUITTO, mosquitto
from tests.support.real_cell import RealCell, arm_of_node, arm_of_the_kit
from tests.support.sequence_files import write_sequence

pytestmark = [
    pytest.mark.broker,
    pytest.mark.timeout(600),
    pytest.mark.skipif(MOSQUITTO is None, reason="Mosquitto is not installed"),
]
CELL = "sill_point"
Arm = Callable[[str, Path, int, Path], list[str]]
Ended = tuple[int, dict[str, Any], str]
HEAD = """sequence: small
text: one arm looks at the joint while the other parks, then both stand together
cell: cells/sill_point.yaml
joint: joints/airlift_16in_8.yaml
begins: joint_made_up
otherwise: hold
"""
BODY = """
barriers:
  both: {timeout: 5 min, window: 500 ms}

lanes:
  fore:
    - do: locate_joint
    - barrier: both
  aft:
    - do: park
    - barrier: both
"""

ANSWERED_WITH = {
    "waits for the procedure to run (it is idle)": "start",
    "warning: start: ": "start",
    "the procedure is held": "restart",
    "a person's word for the next step": "step",
}
"""What a person at the terminal types when a line says so."""
TYPING_S = 0.2
"""Chosen: a start that is refused is typed again without flooding the terminal."""
PEOPLE = "acts:\n" + 3 * "  - {act: restart, when: held, after: 1 s, by: Ada}\n"
"""An arm whose process starts late on a busy machine begins with a hold: no signal heard yet."""


class Bench:
    """Runs verbs of the program on one small sequence, its book and its broker."""

    def __init__(self, folder: Path, port: int, arm: Arm) -> None:
        self.folder = folder
        self.cell = RealCell(folder / "small.yaml", port, folder, arm)
        self._broker = ["--broker", f"mqtt://127.0.0.1:{port}"]
        self._book = ["--book", str(folder / "book")]

    def words(self, *verb: str, on_bus: bool = True) -> list[str]:
        """Return a whole command line."""
        more = [*(self._broker if on_bus else []), *self._book, "--json"]
        return [sys.executable, "-m", "coordinator.cli.app", *verb, *more]

    def ask(self, *verb: str, on_bus: bool = True) -> Ended:
        """Run a verb; return how it ended, its document, and what it told people."""
        done = subprocess.run(
            self.words(*verb, on_bus=on_bus), capture_output=True, text=True, check=False
        )
        assert done.stdout, done.stderr
        return done.returncode, json.loads(done.stdout), done.stderr

    def run(self, *options: str, on_bus: bool = True) -> Ended:
        """Run the sequence; what is real takes no answer file."""
        people = self.folder / "people.yaml"
        people.write_text(PEOPLE, encoding="utf-8")
        out = ["--out", str(self.folder / "out"), "--look-ahead", "0"]
        if not any(one.endswith("=real") for one in options):
            out += ["--answer", str(people)]
        return self.ask("run", str(self.folder / "small.yaml"), *out, *options, on_bus=on_bus)

    def attend(self, *options: str) -> Ended:
        """Run the sequence with a person at the terminal, who starts it and allows each step."""
        out = ["--out", str(self.folder / "out"), "--look-ahead", "0"]
        words = self.words("run", str(self.folder / "small.yaml"), *out, *options)
        hand, terminal = os.openpty()
        pipe = subprocess.PIPE
        with subprocess.Popen(words, stdin=terminal, stdout=pipe, stderr=pipe, text=True) as run:
            assert run.stdout is not None
            assert run.stderr is not None
            told = []
            for line in run.stderr:
                told.append(line)
                for sign, word in ANSWERED_WITH.items():
                    if sign in line:
                        time.sleep(TYPING_S)
                        os.write(hand, f"{word}\n".encode())
            document = json.loads(run.stdout.read())
        os.close(hand)
        os.close(terminal)
        return run.returncode, document, "".join(told)

    def missing(self, *options: str) -> list[str]:
        """Return what a run is refused for."""
        code, document, told = self.run(*options)
        assert code == 2, told
        return [f"{one['party']}: {one['what']}" for one in document["missing"]]

    def accept(self) -> tuple[int, dict[str, Any]]:
        """Take the arm through its acceptance, as the person beside it does as asked."""
        words = self.words(
            *("commission", "arm", "fore", "--cell", str(self.folder / "cells/sill_point.yaml")),
            *("--by", "Ada", "--attended"),
        )
        with subprocess.Popen(
            words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        ) as process:
            assert process.stderr is not None
            assert process.stdout is not None
            for line in process.stderr:
                if "NOW" in line and "signal" in line:
                    self.cell.order("floor_clear yes" if "good again" in line else "floor_clear no")
                elif "NOW" in line:
                    self.cell.kill("fore")
                    self.cell.start("fore")
            document = json.loads(process.stdout.read())
        jsonschema.validate(document, schema_of_document("commission arm"))
        return process.returncode, document

    def points(self, *options: str) -> list[str]:
        """Fill the sheet and return what is open for floor and fore."""
        sheet = str(self.folder / "small.yaml")
        only = ("--party", "floor", "--party", "fore")
        _, document, _ = self.ask("commission", "points", sheet, *only, *options, on_bus=False)
        return [one["tag"] for one in document["points"] if one["result"] != "checked"]


async def commands_heard(port: int, done: asyncio.Event) -> list[Message]:
    """Listen to everything that is said on the real bus to any arm, until done."""
    ends = ("+/command", "all/lease", "coordinator/state")
    topics = tuple(f"bothsides/{CELL}/{one}" for one in ends)
    link = MqttLink(Address(port=port), CELL, topics, "witness")
    await link.open()
    heard: list[Message] = []
    ending = asyncio.create_task(done.wait())
    while not done.is_set():
        waiting = asyncio.create_task(link.wait_delivered())
        await asyncio.wait({waiting, ending}, return_when=asyncio.FIRST_COMPLETED)
        if waiting.done():
            heard += [one.message for one in waiting.result() if isinstance(one, Delivered)]
        waiting.cancel()
    await link.close()
    return heard


def run_witnessed(
    run: Callable[..., Ended], port: int, *options: str
) -> tuple[Ended, list[Message]]:
    """Run, and return besides what was sent on the real bus."""

    async def both() -> tuple[Ended, list[Message]]:
        done = asyncio.Event()
        listening = asyncio.create_task(commands_heard(port, done))
        ended = await asyncio.to_thread(run, *options)
        done.set()
        return ended, await listening

    return asyncio.run(both())


@pytest.mark.parametrize(
    "arm",
    [
        pytest.param(arm_of_the_kit, id="driver made with the kit"),
        pytest.param(
            arm_of_node,
            id="driver in another language",
            marks=pytest.mark.skipif(shutil.which("node") is None, reason="Node is not installed"),
        ),
    ],
)
def test_a_side_becomes_real_by_evidence_and_by_nothing_else(tmp_path: Path, arm: Arm) -> None:
    """Every step is refused until the one before has left its entry in the book."""
    write_sequence(tmp_path, BODY, head=HEAD)
    (tmp_path / "broker").mkdir()
    with mosquitto(tmp_path / "broker") as port:
        bench = Bench(tmp_path, port, arm)
        try:
            check_the_way(bench, port)
        finally:
            bench.cell.end()


def check_the_way(bench: Bench, port: int) -> None:
    """Take the side along the whole way."""
    # Simulated: opens the shadow.
    shadow = ("--party", "fore=shadow", "--party", "floor=shadow")
    assert bench.missing(*shadow)[0] == "fore: no simulated run of these files is complete"
    code, _, told = bench.run("--speed", "10", on_bus=False)
    assert code == 0, told
    assert "evidence: entry 0" in told

    # Shadow: the real arm and the real floor are listened to, and told nothing.
    bench.cell.start("floor")
    bench.cell.start("fore")
    (code, _, told), sent = run_witnessed(bench.run, port, *shadow)
    assert code == 0, told
    assert "SIMULATED (fore SHADOW, aft SIMULATED, floor SHADOW)" in told
    assert "fore (shadow): heard throughout" in told
    assert sent == []

    check_the_degrees(bench, port)


def check_the_degrees(bench: Bench, port: int) -> None:
    """Real needs the acceptance, the floor's points, and the degrees in their order."""
    real = ("--party", "fore=real", "--party", "floor=real")
    bare = ("--cap-torque", "0", "--cap-speed", "0.25")
    in_steps = (*bare, "--mode", "step")
    lacking = bench.missing(*real, *in_steps)
    assert lacking[0] == "fore: no acceptance of the real arm"
    assert all(one.startswith("floor: floor/") for one in lacking[1:])
    assert "fore: the floor is not real" in bench.missing("--party", "fore=real", *in_steps)
    with watching(bench, "fore"):
        code, report = bench.accept()
    assert (code, report["failed"]) == (0, []), report
    fill_floor(bench)
    by_hand = ("fore/tool/gripper=off", "fore/tool/spinner=mounted", "fore/tool/wrench=mounted")
    entered = [word for one in by_hand for word in ("--enter", one)]
    left = bench.points(*entered, "--by", "Ben", "--why", "changed by hand at the rack")
    assert [one for one in left if "fore/reading" not in one] == []
    assert bench.missing(*real, "--mode", "step") == [
        "fore: no run of the real arm without torque is complete",
        "fore: no slow run of the real arm is complete",
    ]

    # Without torque, step by step: the other side stays simulated, and only fore is commanded.
    (code, _, told), sent = run_witnessed(bench.attend, port, *real, *in_steps)
    assert code == 0, told
    assert "PARTLY REAL (fore REAL, aft SIMULATED, floor REAL)" in told
    assert {one.subject for one in sent if isinstance(one.body, Do)} == {"fore"}
    leases = [one.body for one in sent if isinstance(one.body, Lease)]
    assert {(one.torque_nm_max, one.speed_share_max) for one in leases} == {(0.0, 0.25)}
    assert not any(isinstance(one.body, PartyState) and one.body.simulated for one in sent[:-1])
    slow = ("--cap-speed", "0.25")
    assert all("fore/reading" in one for one in bench.missing(*real, *slow))
    with watching(bench, "fore"):
        code, _, told = bench.attend(*real, *slow, "--mode", "step")
    assert code == 0, told

    # Automatic and at full speed: every point of the side was seen meanwhile.
    assert bench.points() == []
    code, document, told = bench.attend(*real)
    assert code == 0, told
    journal = Journal.open(bench.folder / "out" / document["run"] / FILE_NAME)
    stood = (("fore", "real"), ("aft", "simulated"), ("floor", "real"))
    assert (journal.head.standings, journal.head.simulated) == (stood, False)
    journal.close()
    assert "predicted against seen" in told


@contextlib.contextmanager
def watching(bench: Bench, *parties: str) -> Iterator[Iterator[str]]:
    """Tick the sheet from the bus until left, then end as at a person's Ctrl-C."""
    words = [word for party in parties for word in ("--party", party)]
    sheet = str(bench.folder / "small.yaml")
    command = bench.words("commission", "points", sheet, "--by", "Ada", "--seconds", "150", *words)
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stderr is not None
        lines = iter(process.stderr)
        wait_for(lines, "listening")
        yield lines
        process.send_signal(signal.SIGINT)
        process.communicate()


def wait_for(lines: Iterator[str], text: str) -> None:
    """Read on until a line has the text."""
    assert any(text in line for line in lines), f"'{text}' was never said"


def fill_floor(bench: Bench) -> None:
    """Make every signal of the real floor bad, and let it fall silent."""
    with watching(bench, "floor") as lines:
        wait_for(lines, "floor/link is there")  # Now it is known what the floor says of itself.
        for name in ("floor_clear", "string_still", "nothing_overhead", "hydraulics_ready"):
            for value in ("no", "unknown", "yes"):
                bench.cell.order(f"{name} {value}")
        wait_for(lines, "floor/permissive/supply_low is unknown")
        bench.cell.kill("floor")
        wait_for(lines, "floor/link is gone")
    bench.cell.start("floor")
    assert [one for one in bench.points() if one.startswith("floor")] == []
