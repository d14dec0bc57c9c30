"""The verb `resume` as a program: killed runs, changed files, a second coordinator, an old one."""

import asyncio
import json
import os
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import jsonschema
import pytest

from coordinator.cli.documents.declared import schema_of_document
from coordinator.commissioning.book import book_path, read_book
from coordinator.live.link import Delivered
from coordinator.live.mqtt_link import Address, MqttLink
from coordinator.page.operators import Operator, write_operator
from coordinator.records.journal import FILE_NAME
from coordinator.records.rows import RecordFilter
from coordinator.records.store import RecordStore
from coordinator.wire.messages import Finished
from coordinator.wire.topics import ROOT
from sim_arms.ledger import FileStore
from tests.support.brokers import MOSQUITTO, mosquitto
from tests.support.late_arm import resumed
from tests.support.short_sequence import write_short_sequence

pytestmark = [pytest.mark.broker, pytest.mark.timeout(120)]
SPEED = "10"
WAIT_S = 90.0
TRIES_MAX = 4
CELL = "sill_point"
mosquitto_only = pytest.mark.skipif(MOSQUITTO is None, reason="Mosquitto is not installed")


@contextmanager
def bothsides(*words: str) -> Iterator[subprocess.Popen[str]]:
    """Run the program with nobody at its terminal."""
    process = subprocess.Popen(
        [sys.executable, "-m", "coordinator.cli.app", *words, "--json"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


def ended(*words: str) -> tuple[int, dict[str, Any], str]:
    """Run the program to its end; return its code, its document and what it told people."""
    with bothsides(*words) as process:
        said, told = process.communicate(timeout=WAIT_S)
        document = json.loads(said)
        jsonschema.validate(document, schema_of_document("resume"))
        return process.returncode, document, told


def killed_at(folder: Path, words: str) -> Path:
    """Begin the short sequence, kill it once `words` were said, and return the run's folder.

    On a machine too busy for the lease an arm holds by itself before that; then another is begun.
    """
    sequence = write_short_sequence(folder)
    for attempt in range(TRIES_MAX):
        out = folder / f"out_{attempt}"
        with bothsides("run", str(sequence), "--out", str(out), "--speed", SPEED) as process:
            assert process.stderr is not None
            is_said = any(words in line for line in process.stderr)
            process.send_signal(signal.SIGKILL)
            process.wait()
        if is_said:
            (path,) = out.glob(f"*/{FILE_NAME}")
            return path.parent
    raise AssertionError(f"'{words}' was never said")


def resume(folder: Path, *options: str) -> tuple[int, dict[str, Any], str]:
    return ended("resume", folder.name, "--out", str(folder.parent), *options)


def looked(folder: Path) -> tuple[str, str]:
    """Return the options of somebody who has looked, and has what nobody knows done again.

    Should an arm hold by itself on a busy machine, the person restarts.
    """
    path = folder.parent.parent / "people.yaml"
    answer = "  - {prompt: unknown_outcome, answer: again, by: test person}\n"
    restart = "  - {act: restart, when: held, after: 2 s, by: test person}\n"
    people = f"answers:\n{TRIES_MAX * answer}acts:\n{TRIES_MAX * restart}"
    path.write_text(people, encoding="utf-8")
    return "--answer", str(path)


def finished_actions(folder: Path) -> Counter[str]:
    """Return how often each arm's ledger says that a command ended well."""
    counts: Counter[str] = Counter()
    for path in folder.glob("ledgers/*.sqlite"):
        store = FileStore(path)
        counts[path.name] = sum(isinstance(one.body, Finished) for one in store.load())
        store.close()
    return counts


def test_a_run_killed_in_the_pull_is_resumed_to_its_end(tmp_path: Path) -> None:
    """What a power cut leaves: the card, everybody asked, a restart, and each bolt proved once."""
    folder = killed_at(tmp_path, "fore: pull bolt 1")

    books = tmp_path / "book"
    code, document, told = resume(folder, "--restart", *looked(folder), "--book", str(books))

    assert (code, document["ended"], document["open_points"]) == (0, "complete", []), told
    [entry] = read_book(book_path(books, CELL))
    assert (entry.kind, entry.body["resumed"], entry.body["run"]) == ("run", True, folder.name)
    assert (entry.body["phase"], entry.body["standings"]["fore"]) == ("complete", "simulated")
    assert document["where"]["lanes"][0]["at_hand"] == "pull bolt 1 round 3"
    assert "unknown until fore has been asked" in told
    assert "fore answers: pull bolt 1 round 3" in told
    store = RecordStore(f"sqlite:///{folder.parent / 'records.sqlite'}")
    good = [one for one in store.list_records(RecordFilter()) if one.verdict == "accepted"]
    assert sorted(one.bolt for one in good) == [1, 5]
    assert store.verify() is None
    store.close()


def test_a_run_killed_after_the_pull_does_not_pull_again(tmp_path: Path) -> None:
    """A4: both ledgers say that the pull is done: only the wrenches are lifted."""
    folder = killed_at(tmp_path, "fore: lift wrench bolt 1")
    before = finished_actions(folder)

    code, document, told = resume(folder, "--restart", *looked(folder))

    assert (code, document["ended"]) == (0, "complete"), told
    done_after = finished_actions(folder) - before
    assert all(count <= 2 for count in done_after.values()), done_after
    assert " pull bolt" not in told.split("procedure is restarting")[1]


def test_what_nobody_knows_waits_for_a_person(tmp_path: Path) -> None:
    """R3: arms that died in the pull cannot say how far it came: unanswered, nothing moves."""
    folder = killed_at(tmp_path, "fore: pull bolt 1")

    code, document, told = resume(folder, "--restart")

    if "is unknown; a person looks" in told:
        assert (code, document["ended"]) == (3, "held")
        assert "outcome_unknown: nobody knows how it ended" in told
        assert " pull bolt 1" not in told.split("the procedure is running")[1].split("PROMPT")[0]
    else:
        # The arm lived long enough to hold by itself, and could say so.
        assert (code, document["ended"]) == (0, "complete"), told


def test_a_resumed_run_with_nobody_there_stays_held_and_can_be_resumed_again(
    tmp_path: Path,
) -> None:
    """Restart is a person's act: without one nothing moves."""
    folder = killed_at(tmp_path, "fore: seat wrench bolt 1")

    code, document, _ = resume(folder)
    assert (code, document["ended"]) == (3, "held")

    code, document, told = resume(folder, "--restart", *looked(folder))
    assert (code, document["ended"]) == (0, "complete"), told


def test_looking_shows_the_card_and_changes_nothing(tmp_path: Path) -> None:
    """Whoever comes in the morning looks before anything is started."""
    folder = killed_at(tmp_path, "fore: seat wrench bolt 1")
    before = (folder / FILE_NAME).read_bytes()

    code, document, told = resume(folder, "--look")

    assert code == 0
    assert "WHERE WAS I" in told
    assert document["where"]["phase"] == "running"
    assert document["changed"] == []
    assert (folder / FILE_NAME).read_bytes() == before


def test_a_changed_file_is_refused_with_the_difference_and_goes_on_pinned(tmp_path: Path) -> None:
    """Other rounds on the same bolts would prove another joint than was begun."""
    folder = killed_at(tmp_path, "fore: seat wrench bolt 1")
    path = tmp_path / "small.yaml"
    path.write_text(path.read_text().replace("balance: 600 N.m", "balance: 900 N.m"))

    code, document, told = resume(folder, "--restart")
    assert code == 2
    assert "--pinned" in document["error"]
    assert any(
        "differ by" in line and "900 N·m" in line and "600 N·m" in line
        for line in told.splitlines()
    ), told

    code, document, told = resume(folder, "--restart", "--pinned", *looked(folder))
    assert (code, document["ended"]) == (0, "complete"), told


def test_a_run_that_has_ended_has_nothing_to_go_on_with(tmp_path: Path) -> None:
    """A finished joint is not made up again by mistake."""
    sequence = write_short_sequence(tmp_path)
    out = tmp_path / "out"
    code, document, _ = ended("run", str(sequence), "--out", str(out), "--speed", SPEED)
    assert code == 0

    code, _, told = ended("resume", document["run"], "--out", str(out), "--restart")

    assert code == 0
    assert "there is nothing to go on with" in told


def test_a_run_that_is_not_there_is_bad_use_and_the_others_are_named(tmp_path: Path) -> None:
    """A mistyped name is found out by reading, not by searching folders."""
    folder = killed_at(tmp_path, "the procedure is running")

    code, document, _ = ended("resume", "yesterday", "--out", str(folder.parent))

    assert code == 2
    assert folder.name in document["error"]


def test_a_damaged_journal_is_refused_with_its_commit(tmp_path: Path) -> None:
    """Nothing may be commanded on what cannot be trusted."""
    folder = killed_at(tmp_path, "fore: seat wrench bolt 1")
    path = folder / FILE_NAME
    content = bytearray(path.read_bytes())
    content[content.index(b"PartySeen")] ^= 1
    path.write_bytes(content)

    code, document, _ = resume(folder, "--restart")

    assert code == 2
    assert "JNL005" in document["error"]


def test_looking_tells_a_damaged_journal_as_resume_does(tmp_path: Path) -> None:
    """A card of what stands before the damage would name a place where the run was not left."""
    folder = killed_at(tmp_path, "fore: seat wrench bolt 1")
    path = folder / FILE_NAME
    content = bytearray(path.read_bytes())
    content[content.rindex(b"PartySeen")] ^= 1
    path.write_bytes(content)

    looked_at = resume(folder, "--look")

    assert looked_at == resume(folder, "--restart")
    assert looked_at[0] == 2
    assert "JNL005" in looked_at[1]["error"]
    assert "WHERE WAS I" not in looked_at[2]


@mosquitto_only
@pytest.mark.timeout(240)
def test_a_restart_waits_until_the_last_arm_has_heard_the_floor(tmp_path: Path) -> None:
    """It used to leave before; about every second time the arm refused, and the run was held.

    ``python -m tests.support.late_arm FOLDER --times 20`` does the same more often.
    """
    assert resumed(tmp_path, times=6) == [""] * 6


def test_a_resumed_run_serves_its_page_to_its_operators(tmp_path: Path) -> None:
    """After a crash the person at the page must be able to restart, as in the run before."""
    folder = killed_at(tmp_path, "fore: seat wrench bolt 1")
    operators = tmp_path / "operators.json"
    write_operator(operators, Operator.of("mate", "up the string"))
    words = ["resume", folder.name, "--out", str(folder.parent), "--page"]
    words += ["--page-at", "127.0.0.1:0", "--operators", str(operators)]
    with bothsides(*words) as process:
        assert process.stderr is not None
        at = next(line for line in process.stderr if "live page: " in line)
        assert "for looking only" not in at
        address = at.split("live page: ")[1].split()[0]
        assert any("every party stands: held" in line for line in process.stderr)
        # With an operator at the page held is no end.
        with pytest.raises(subprocess.TimeoutExpired):
            process.wait(3.0)
        with httpx.Client(base_url=address, timeout=WAIT_S) as client:
            lanes = client.get("/api/state").json()["run"]["lanes"]
        process.send_signal(signal.SIGINT)
        process.wait(WAIT_S)

    assert process.returncode == 3
    _, card, _ = resume(folder, "--look")
    shown = [(one["done"], one["steps"]) for one in lanes]
    assert shown == [(one["done"], one["of"]) for one in card["where"]["lanes"]]


@contextmanager
def waiting(folder: Path) -> Iterator[tuple[subprocess.Popen[str], Path, tuple[str, str]]]:
    """Run a coordinator that waits for its arms; yields it, the sequence, and the broker."""
    (folder / "broker").mkdir()
    sequence = write_short_sequence(folder)
    with mosquitto(folder / "broker") as port:
        broker = ("--broker", f"mqtt://127.0.0.1:{port}")
        run = ("run", str(sequence), "--out", str(folder / "first"), "--elsewhere", *broker)
        with bothsides(*run) as first:
            end_s = time.monotonic() + WAIT_S
            while not list((folder / "first").glob(f"*/{FILE_NAME}")):
                assert time.monotonic() < end_s
                time.sleep(0.05)
            # The run's folder comes first, its word on the bus just after.
            asyncio.run(wait_for_word(port))
            yield first, sequence, broker


async def wait_for_word(port: int) -> None:
    """Return once the broker knows of a coordinator on the cell."""
    link = MqttLink(Address(port=port), CELL, (f"{ROOT}/{CELL}/coordinator/state",), "witness")
    await link.open()
    async with asyncio.timeout(WAIT_S):
        while not any(isinstance(one, Delivered) for one in await link.wait_delivered()):
            pass
    await link.close()


@mosquitto_only
def test_a_second_coordinator_on_a_cell_is_refused(tmp_path: Path) -> None:
    """A7: two would command the same arms; the second is told so at once, and makes no run."""
    with waiting(tmp_path) as (first, sequence, broker):
        second_out = tmp_path / "second"
        code, document, told = ended("run", str(sequence), "--out", str(second_out), *broker)

        assert (code, first.poll()) == (2, None)
        assert "LNK012" in document["error"]
        assert len(told.strip().splitlines()) == 1
        assert not second_out.exists()


@mosquitto_only
def test_a_second_coordinator_on_one_run_is_refused(tmp_path: Path) -> None:
    """The journal has one writer, on whichever broker the second would be."""
    with waiting(tmp_path) as (first, _, broker):
        (path,) = (tmp_path / "first").glob(f"*/{FILE_NAME}")

        code, document, _ = resume(path.parent, *broker)

        assert (code, first.poll()) == (2, None)
        assert "another coordinator is at work on this run" in document["error"]


@mosquitto_only
def test_a_coordinator_that_was_stopped_and_wakes_late_is_fenced(tmp_path: Path) -> None:
    """A machine that slept through its own replacement must not command any more."""
    with waiting(tmp_path) as (first, sequence, broker):
        os.kill(first.pid, signal.SIGSTOP)
        second_run = ("run", str(sequence), "--out", str(tmp_path / "second"), *broker)
        with bothsides(*second_run, "--take-over") as second:
            assert second.stderr is not None
            assert any("the procedure is running" in line for line in second.stderr)
            os.kill(first.pid, signal.SIGCONT)
            said, told = first.communicate(timeout=WAIT_S)

    assert first.returncode == 2, told
    assert "LNK008" in json.loads(said)["error"]
