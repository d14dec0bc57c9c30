"""A disk that fills up, a broker that dies in a resume: the run is left held, with what to do."""

import asyncio
import contextlib
import json
import os
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from coordinator.live.link import Delivered
from coordinator.live.mqtt_link import Address, MqttLink
from coordinator.wire.messages import Hold, Message
from coordinator.wire.topics import ROOT
from tests.broker.test_resume import CELL, SPEED, WAIT_S, bothsides, killed_at, looked, resume
from tests.support.brokers import MOSQUITTO, mosquitto
from tests.support.short_sequence import write_short_sequence

pytestmark = [
    pytest.mark.broker,
    pytest.mark.timeout(240),
    pytest.mark.skipif(MOSQUITTO is None, reason="Mosquitto is not installed"),
]
ROOM = "4m"
"""Chosen: a run of the short sequence with its ledgers and records takes less than 1 MiB."""


@contextlib.contextmanager
def small_disk(folder: Path) -> Iterator[Path]:
    """Mount a disk in memory with little room, where that is allowed."""
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={ROOM}", "tmpfs", str(folder)]
    if os.geteuid() != 0 or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("no disk may be mounted here")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def fill(path: Path) -> None:
    """Take all the room that is left."""
    with path.open("wb", buffering=0) as file, contextlib.suppress(OSError):
        while True:
            file.write(bytes(65_536))
    with path.open("ab", buffering=0) as file, contextlib.suppress(OSError):
        while True:
            file.write(b"\0")


@contextlib.contextmanager
def overhearing(port: int) -> Iterator[list[Message]]:
    """Collect what is sent to both arms."""
    heard: list[Message] = []
    topics = tuple(f"{ROOT}/{CELL}/{side}/+" for side in ("fore", "aft"))
    is_over = threading.Event()

    async def listen() -> None:
        link = MqttLink(Address(port=port), CELL, topics, "witness")
        await link.open()
        while not is_over.is_set():
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(0.2):
                    found = await link.wait_delivered()
                    heard.extend(one.message for one in found if isinstance(one, Delivered))
        await link.close()

    thread = threading.Thread(target=lambda: asyncio.run(listen()))
    thread.start()
    try:
        yield heard
    finally:
        is_over.set()
        thread.join()


def test_a_disk_that_fills_up_holds_the_arms_and_says_free_space_then_resume(
    tmp_path: Path,
) -> None:
    """Exit 2 told a script that it had used the program badly, while both arms stood on bolts."""
    sequence = write_short_sequence(tmp_path)
    (tmp_path / "broker").mkdir()
    with small_disk(tmp_path / "disk") as out, mosquitto(tmp_path / "broker") as port:
        words = ["run", str(sequence), "--out", str(out), "--speed", SPEED]
        words += ["--broker", f"mqtt://127.0.0.1:{port}"]
        with overhearing(port) as heard, bothsides(*words) as process:
            assert process.stderr is not None
            assert any("fore: seat wrench" in line for line in process.stderr)
            fill(out / "filler")
            said, told = process.communicate(timeout=WAIT_S)
        document = json.loads(said)
        held = {one.subject for one in heard if isinstance(one.body, Hold)}

        assert (process.returncode, document["ended"]) == (3, "held"), told
        run = document["run"]
        assert f"free space, then resume with: bothsides resume {run}" in document["reason"]
        assert held == {"fore", "aft"}

        (out / "filler").unlink()
        code, document, told = resume(out / run, "--restart", *looked(out / run))
        assert (code, document["ended"]) == (0, "complete"), told


def test_a_resume_on_a_disk_that_is_still_full_says_so(tmp_path: Path) -> None:
    """Whoever resumes too early is told the same again, and nothing of the run is lost."""
    with small_disk(tmp_path / "disk") as disk:
        folder = killed_at(disk, "fore: seat wrench bolt 1")
        fill(disk / "filler")

        code, document, told = resume(folder, "--restart")

        assert code in (2, 3), told
        words = document.get("reason", "") + document.get("error", "")
        assert "No space left" in words or "free space" in words
        assert "Traceback" not in told


@pytest.mark.parametrize("moment", ["SIMULATED", "the procedure is holding", "is running"])
def test_a_broker_that_dies_during_a_resume_leaves_the_run_held(
    tmp_path: Path, moment: str
) -> None:
    """The run was taken up; whoever reads the exit code must not think that it never was."""
    folder = killed_at(tmp_path, "fore: seat wrench bolt 1")
    (tmp_path / "broker").mkdir()
    with contextlib.ExitStack() as broker:
        port = broker.enter_context(mosquitto(tmp_path / "broker"))
        words = ["resume", folder.name, "--out", str(folder.parent), "--restart"]
        words += ["--broker", f"mqtt://127.0.0.1:{port}", *looked(folder)]
        with bothsides(*words) as process:
            assert process.stderr is not None
            assert any(moment in line for line in process.stderr)
            broker.close()
            said, told = process.communicate(timeout=WAIT_S)
    document = json.loads(said)

    assert (process.returncode, document["ended"]) == (3, "held"), told
    assert f"127.0.0.1:{port}" in told or "link" in document["reason"]
    assert f"bothsides resume {folder.name}" in told
    assert "Traceback" not in told
