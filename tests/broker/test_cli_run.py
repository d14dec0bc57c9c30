"""The verb `run` as a program: real processes, a real bus, a person's Ctrl-C."""

import json
import os
import select
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from coordinator.cli.documents.declared import schema_of_document
from coordinator.core.decide import begin, decide
from coordinator.live.hurry import hurried
from coordinator.records.journal import Journal
from coordinator.sequence import load
from tests.support.brokers import MOSQUITTO, free_port, mosquitto
from tests.support.short_sequence import write_short_sequence

pytestmark = [pytest.mark.broker, pytest.mark.timeout(60)]
SPEED = 10.0
WAIT_S = 50.0


@contextmanager
def running(
    folder: Path, *options: str, stdin: int = subprocess.DEVNULL
) -> Iterator[subprocess.Popen[str]]:
    """Run the short sequence with its runs in `folder` / out; text for people is a pipe."""
    command = [sys.executable, "-m", "coordinator.cli.app", "run", "--json"]
    command += [str(write_short_sequence(folder)), "--out", str(folder / "out"), *options]
    process = subprocess.Popen(
        command,
        stdin=stdin,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


def read_until(process: subprocess.Popen[str], text: str) -> None:
    """Read what is told to people until `text` is in a line."""
    assert process.stderr is not None
    assert any(text in line for line in process.stderr), f"'{text}' was never said"


def processes_of(folder: Path) -> dict[int, list[str]]:
    """Return the processes whose command line names `folder`, as the system lists them."""
    found = {}
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            words = (entry / "cmdline").read_bytes().decode().split("\0")
        except OSError:
            continue  # It ended meanwhile.
        if any(str(folder) in word for word in words) and int(entry.name) != os.getpid():
            found[int(entry.name)] = words
    return found


def wait_for_nobody(folder: Path) -> dict[int, list[str]]:
    """Give processes five seconds each to end; return those that did not."""
    for number in processes_of(folder):
        try:
            descriptor = os.pidfd_open(number)
        except ProcessLookupError:
            continue
        select.select([descriptor], [], [], 5.0)
        os.close(descriptor)
    return processes_of(folder)


def journal_of(folder: Path) -> Path:
    (path,) = (folder / "out").glob("*/journal.log")
    return path


def check_complete(folder: Path, *options: str) -> None:
    with running(folder, "--speed", str(SPEED), *options) as process:
        said, told = process.communicate(timeout=WAIT_S)
    document: dict[str, Any] = json.loads(said)
    jsonschema.validate(document, schema_of_document("run"))

    assert process.returncode == 0, told
    assert (document["ended"], document["records"], document["open_points"]) == ("complete", 2, [])
    assert "SIMULATED" in told
    assert "fore: pull bolt 1" in told
    assert wait_for_nobody(folder) == {}
    check_journal(folder)


def check_journal(folder: Path) -> None:
    """The journal alone must lead to the end that was told."""
    journal = Journal.open(journal_of(folder))
    plan = hurried(load(folder / "small.yaml").plan, SPEED)
    state = begin(plan, first_command=journal.head.origin_us // 1_000)
    for event in journal.read_events():
        state, _ = decide(plan, state, event)

    assert state.phase == "complete"
    assert journal.verify() is None
    assert journal.head.plan_digest == plan.digest
    journal.close()


def test_a_hurried_run_on_the_embedded_broker_is_complete_and_leaves_nothing(
    tmp_path: Path,
) -> None:
    """What a newcomer does first."""
    check_complete(tmp_path)


@pytest.mark.skipif(MOSQUITTO is None, reason="Mosquitto is not installed")
def test_a_hurried_run_over_mosquitto_is_complete_and_leaves_nothing(tmp_path: Path) -> None:
    """What production uses; its folder is elsewhere, for its own process names it."""
    (tmp_path / "broker").mkdir()
    (tmp_path / "cell").mkdir()
    with mosquitto(tmp_path / "broker") as port:
        check_complete(tmp_path / "cell", "--broker", f"mqtt://127.0.0.1:{port}")


def test_ctrl_c_holds_both_arms_and_closes_the_journal(tmp_path: Path) -> None:
    """LV11: A person's Ctrl-C must neither leave an arm at work nor lose what was proved."""
    with running(tmp_path) as process:
        read_until(process, "fore: change tool wrench")
        process.send_signal(signal.SIGINT)
        said, told = process.communicate(timeout=WAIT_S)
    journal = Journal.open(journal_of(tmp_path))

    assert process.returncode == 3, told
    assert json.loads(said)["ended"] == "held"
    assert "every party stands" in told
    assert journal.verify() is None
    journal.close()
    assert wait_for_nobody(tmp_path) == {}


def test_a_person_at_the_terminal_holds_goes_on_and_aborts(tmp_path: Path) -> None:
    """Held is no end while somebody is there; keys come from a terminal without echo."""
    hand, terminal = os.openpty()
    with running(tmp_path, "--speed", str(SPEED), stdin=terminal) as process:
        read_until(process, "fore: change tool wrench")
        for words, answer in (
            ("dance", "not understood: 'dance'"),
            ("hold", "every party stands"),
            ("restart", "the procedure is restarting"),
            ("abort", "the procedure is abort"),
        ):
            os.write(hand, f"{words}\n".encode())
            read_until(process, answer)
        said, _ = process.communicate(timeout=WAIT_S)
    os.close(hand)
    os.close(terminal)

    assert process.returncode == 3
    assert json.loads(said)["ended"] == "aborted"
    assert json.loads(said)["reason"] == "aborted by operator at the terminal"


def test_a_killed_run_takes_its_parties_with_it(tmp_path: Path) -> None:
    """No simulated arm may stay on a bus that others use."""
    with running(tmp_path) as process:
        read_until(process, "the procedure is running")
        assert len(processes_of(tmp_path)) == 4
        process.kill()
        process.wait()

        assert wait_for_nobody(tmp_path) == {}


def test_a_party_that_dies_holds_the_run_and_is_named(tmp_path: Path) -> None:
    """A run that waits for a dead process for ever would tell nobody why."""
    with running(tmp_path) as process:
        read_until(process, "fore: change tool wrench")
        known = processes_of(tmp_path).items()
        (aft,) = [number for number, words in known if '"name":"aft"' in " ".join(words)]
        os.kill(aft, signal.SIGKILL)
        said, told = process.communicate(timeout=WAIT_S)

    assert process.returncode == 3
    assert json.loads(said)["ended"] == "held"
    assert "the process of 'aft' ended" in told


def test_a_broker_out_of_reach_is_bad_use_told_in_one_line(tmp_path: Path) -> None:
    """A wrong address is found out at once, before anything is made."""
    begin_s = time.monotonic()
    with running(tmp_path, "--broker", f"mqtt://127.0.0.1:{free_port()}") as process:
        said, told = process.communicate(timeout=WAIT_S)

    assert process.returncode == 2
    assert time.monotonic() - begin_s < 10.0  # 5 s to find out, the rest for the interpreter
    assert "LNK005" in json.loads(said)["error"]
    assert len(told.strip().splitlines()) == 1
    assert not (tmp_path / "out").exists()


def test_a_hurried_run_with_real_parties_is_refused(tmp_path: Path) -> None:
    """Real arms live in real time."""
    options = ("--real", "--broker", "mqtt://127.0.0.1", "--speed", "2")
    with running(tmp_path, *options) as process:
        said, _ = process.communicate(timeout=WAIT_S)

    assert process.returncode == 2
    assert "--speed" in json.loads(said)["error"]
