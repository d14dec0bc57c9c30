"""The registers, the cycle-time study and the hand-over pack of rehearsals with known stories."""

import contextlib
import hashlib
import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from coordinator.cli.app import app
from coordinator.core.events import OverrideEnded, OverrideSet
from coordinator.records.journal import FILE_NAME, Journal
from tests.support.sequence_files import write_sequence

HEAD = """sequence: small
text: both arms park, with a hold point and a witness point
cell: cells/sill_point.yaml
joint: joints/airlift_16in_8.yaml
begins: joint_made_up
otherwise: hold
"""
BODY = """
points:
  ready: {kind: hold, who: the mate, text: is the deck clear?}
  seen: {kind: witness, who: a guest, text: the arms park}
barriers:
  both: {timeout: 5 min}
lanes:
  fore:
    - point: ready
    - do: locate_joint
    - barrier: both
  aft:
    - point: seen
    - barrier: both
    - do: locate_joint
"""
ANSWERS = "answers:\n  - {prompt: ready, answer: release, by: Ada Penrose, after: 3 s}\n"


def ask(*words: object) -> tuple[int, dict[str, Any], str]:
    """Run a verb; return how it ended, its document and what it told people."""
    result = CliRunner().invoke(app, [*map(str, words), "--json"])
    assert result.stdout, result.stderr
    return result.exit_code, json.loads(result.stdout), result.stderr


@pytest.fixture
def cell(tmp_path: Path) -> Path:
    """Rehearse a small sequence with two points, and return its file; the runs are beside it."""
    path = write_sequence(tmp_path, BODY, head=HEAD)
    answers = tmp_path / "answers.yaml"
    answers.write_text(ANSWERS, encoding="utf-8")
    code, _, told = ask("dryrun", path, "--out", tmp_path / "runs", "--answer", answers)
    assert code == 0, told
    return path


def lists(cell: Path) -> tuple[int, dict[str, Any], str]:
    """Ask for the lists of the runs beside a sequence."""
    return ask(
        *("commission", "lists", cell, "--runs", cell.parent / "runs"),
        *("--book", cell.parent / "book"),
    )


def test_hold_points_name_who_answered_and_witness_points_whom_they_were_told(cell: Path) -> None:
    """The list that an inspector signs is drawn up from what was truly answered."""
    code, document, _ = lists(cell)

    assert code == 0
    told = [(one["kind"], one["point"], one["wanted"], one["who"]) for one in document["signed"]]
    assert sorted(told) == [
        ("hold", "ready", "the mate", "Ada Penrose"),
        ("witness", "seen", "a guest", ""),
    ]
    (hold,) = [one for one in document["signed"] if one["kind"] == "hold"]
    assert (hold["answer"], hold["side"]) == ("release", "fore")


def test_a_wait_is_charged_to_the_side_that_caused_it_and_every_side_adds_up(cell: Path) -> None:
    """CM4: aft waits at the barrier while fore asks a person and looks for the joint."""
    _, document, _ = lists(cell)

    (cycle,) = document["cycle_time"]["runs"]
    for spans in cycle["sides"].values():
        assert sum(spans.values()) == pytest.approx(cycle["total_s"], abs=0.01)
    assert cycle["waits_s"]["fore"] == pytest.approx(cycle["sides"]["aft"]["wait"], abs=0.5)
    assert "aft" not in cycle["waits_s"]
    mean = document["cycle_time"]["sequences"]["small"]
    assert (mean["runs"], mean["mean_s"]) == (1, cycle["total_s"])


def test_overrides_are_listed_with_who_why_from_and_to_and_refused_ones_are_not(
    cell: Path,
) -> None:
    """CM21: A register that lists what never was in force would be read by nobody."""
    (path,) = (cell.parent / "runs").glob(f"*/{FILE_NAME}")
    with contextlib.closing(Journal.take_up(path)) as journal:
        end_us = max(one.at_us for one in journal.read_events())
        names = ["person_on_floor", "string_moving", "load_overhead", "supply_low"]
        low, person = names.index("supply_low"), names.index("person_on_floor")
        s = 1_000_000
        until_us = end_us + 300 * s
        for event in (
            OverrideSet(end_us + 1 * s, low, "Ben", "the gauge sticks", until_us),
            OverrideSet(end_us + 2 * s, person, "Ben", "never allowed", until_us),
            OverrideEnded(end_us + 61 * s, low, "Ada"),
            OverrideSet(end_us + 70 * s, low, "Cy", "it sticks again", until_us),
        ):
            journal.append(event)
        journal.commit()

    _, document, _ = lists(cell)

    found = [
        (one["interlock"], one["who"], one["why"], one["ended_by"]) for one in document["overrides"]
    ]
    assert found == [
        ("supply_low", "Ben", "the gauge sticks", "Ada"),
        ("supply_low", "Cy", "it sticks again", "still in force at the end of the journal"),
    ]
    first = document["overrides"][0]
    assert first["began"] < first["ended"]


def pack(cell: Path, out: Path) -> tuple[int, dict[str, Any], str]:
    """Draw up the pack."""
    return ask(
        *("commission", "pack", cell, "--runs", cell.parent / "runs", "--by", "Ada Penrose"),
        *("--book", cell.parent / "book", "--out", out),
    )


def test_the_pack_has_every_part_with_its_hash_and_tells_first_what_is_open(cell: Path) -> None:
    """CM11, CM12: whoever takes a cell over must not find out later what nobody has looked at."""
    out = cell.parent / "pack"
    enter = ("--enter", "fore/link=there", "--by", "Ben", "--why", "seen on the panel")
    ask("commission", "points", cell, "--book", cell.parent / "book", *enter)

    code, document, _ = pack(cell, out)

    assert code == 1
    names = sorted(one.relative_to(out).as_posix() for one in out.rglob("*") if one.is_file())
    assert names == document["files"]
    lines = (out / "manifest.sha256").read_text(encoding="utf-8").splitlines()
    told = {name: digest for digest, name in (line.split("  ", 1) for line in lines)}
    assert sorted(told) == [one for one in names if one != "manifest.sha256"]
    for name, digest in told.items():
        assert hashlib.sha256((out / name).read_bytes()).hexdigest() == digest
    assert (out / "files/cells/sill_point.yaml").read_bytes() == (
        cell.parent / "cells/sill_point.yaml"
    ).read_bytes()
    index = (out / "index.html").read_text(encoding="utf-8")
    assert index.index("<h2>Open:") < index.index("What was seen")
    assert "point fore/link: open, not seen gone" in index
    assert "WARNING" in index
    assert "seen on the panel" in (out / "points.html").read_text(encoding="utf-8")


def test_a_pack_is_not_written_over_another_nor_from_a_damaged_book(cell: Path) -> None:
    """Half a pack, or one on a book that counts for nothing, would be worse than none."""
    out = cell.parent / "pack"
    pack(cell, out)
    before = (out / "index.html").read_bytes()

    code, document, _ = pack(cell, out)

    assert (code, (out / "index.html").read_bytes()) == (2, before)
    assert "must be a new or an empty folder" in document["error"]
    shutil.rmtree(out)
    enter = ("--enter", "fore/link=there", "--by", "Ben", "--why", "seen on the panel")
    ask("commission", "points", cell, "--book", cell.parent / "book", *enter)
    (book,) = (cell.parent / "book").glob("*.book")
    content = bytearray(book.read_bytes())
    content[content.index(b"panel")] ^= 1
    book.write_bytes(content)
    code, document, _ = pack(cell, out)
    assert (code, out.exists()) == (2, False)
    assert "damaged" in document["error"]


def test_a_damaged_journal_is_an_open_thing_of_the_pack(cell: Path) -> None:
    """What cannot be read any more must not be missing quietly."""
    (path,) = (cell.parent / "runs").glob(f"*/{FILE_NAME}")
    content = bytearray(path.read_bytes())
    content[content.index(b"PartySeen")] ^= 1
    path.write_bytes(content)

    _, document, _ = pack(cell, cell.parent / "pack")

    assert [one for one in document["open"] if one.startswith("journal not read")]
