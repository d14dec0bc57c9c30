"""The verbs as scripts see them: exit codes, one document on stdout, people's text on stderr."""

import json
import re
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from coordinator.cli.app import app
from coordinator.live.recording import record_into
from coordinator.records.rows import Run
from coordinator.records.store import RecordStore
from tests.support.brokers import free_port
from tests.support.proofs import ORIGIN_US, proof
from tests.support.sequence_files import SEQUENCES, write_sequence
from tests.support.short_sequence import write_short_sequence
from tests.support.small_plan import small_plan

MAKEUP = SEQUENCES / "makeup_8.yaml"
JOINT = SEQUENCES / "joints" / "airlift_16in_8.yaml"
GOOD, FINDINGS, BAD_USE, HELD = 0, 1, 2, 3
PLACE = re.compile(r"^\S+\.yaml:\d+:\d+: .+ must .+; .+ \[SEQ\d{3}\]$", re.MULTILINE)
WRENCH = "    - {do: change_tool, with: {tool: wrench}}\n"
PAIRED = (
    "barriers:\n"
    "  pull: {timeout: 5 min, window: 50 ms, paired_until: pulled, balance: 600 N.m, stop: 3 s}\n"
    "  pulled: {timeout: 5 min}\n"
)
SEATED = "    - {{do: seat_wrench, with: {{bolt: {0}}}}}\n    - barrier: pull\n"
REACTED = "    - {{do: react, with: {{bolt: {0}, on: {2}}}}}\n" + SEATED
PULL = REACTED + "    - {{do: pull, with: {{bolt: {0}, torque: {1}}}}}\n    - barrier: pulled\n"
BAD: dict[str, tuple[str, str, int]] = {
    "an unknown key": ("lanes:\n  fore:\n    - {do: park, speed: 3}\n", "SEQ006", FINDINGS),
    "an unknown bolt": (
        f"{PAIRED}lanes:\n  fore:\n{WRENCH}{PULL.format(9, '$joint.torque', 8)}"
        f"  aft:\n{WRENCH}{PULL.format(5, '$joint.torque', 6)}",
        "SEQ017",
        FINDINGS,
    ),
    "a barrier of one side": (
        "barriers:\n  meet: {timeout: 5 min}\nlanes:\n  fore:\n    - barrier: meet\n"
        "  aft:\n    - do: park\n",
        "SEQ035",
        FINDINGS,
    ),
    "a tool that the side lacks": (
        "lanes:\n  fore:\n    - {do: change_tool, with: {tool: spinner}}\n",
        "SEQ019",
        FINDINGS,
    ),
    "a quantity in the wrong dimension": (
        f"{PAIRED}lanes:\n  fore:\n{WRENCH}{PULL.format(1, '60 mm', 2)}"
        f"  aft:\n{WRENCH}{PULL.format(5, '$joint.torque', 6)}",
        "SEQ012",
        FINDINGS,
    ),
    "text that is no YAML": ("lanes: [\n", "SEQ001", BAD_USE),
}
VERBS: dict[str, Callable[[Path, Path], list[str]]] = {
    "draw": lambda path, out: ["draw", str(path), "--out", str(out / "picture.svg")],
    "check": lambda path, _: ["check", "--quick", str(path)],
    "dryrun": lambda path, out: ["dryrun", str(path), "--out", str(out)],
    "run": lambda path, out: ["run", str(path), "--out", str(out)],
}


def call(*words: str) -> Result:
    """Call the program in this process."""
    return CliRunner().invoke(app, list(words))


def document(result: Result) -> dict[str, Any]:
    """Return the one document on stdout."""
    (line,) = result.stdout.splitlines()
    found: dict[str, Any] = json.loads(line)
    return found


def write_bad(folder: Path, name: str) -> Path:
    """Write a sequence that is wrong in one way."""
    path = write_sequence(folder, BAD[name][0])
    if name == "a tool that the side lacks":
        cell = folder / "cells" / "sill_point.yaml"
        text = cell.read_text(encoding="utf-8")
        spinner = re.search(r"^ +spinner: .+\n", text, re.MULTILINE)
        assert spinner is not None
        cell.write_text(text.replace(spinner[0], "", 1), encoding="utf-8")
    return path


def filled(folder: Path) -> Path:
    """Make a store of two records, one accepted and one rejected, and return its file."""
    path = folder / "records.sqlite"
    store = RecordStore(f"sqlite:///{path}")
    run = Run("run_1", "airlift", "small", "d" * 64, "2030-01-01T00:00:00Z")
    store.begin_run(run)
    write = record_into(store, small_plan(), run, ORIGIN_US)
    write(proof(4))
    write(proof(5, node=4, torque_nm=800.0))
    store.end_run("run_1", "complete", "", "2030-01-01T01:00:00Z")
    store.close()
    return path


def overwrite(path: Path, change: str) -> None:
    """Change a store behind its back."""
    with sqlite3.connect(path) as other:
        assert other.execute(change).rowcount == 1
    other.close()


# Bad input -------------------------------------------------------------------------------------


@pytest.mark.parametrize("verb", VERBS)
@pytest.mark.parametrize("name", BAD)
def test_a_bad_sequence_is_told_with_its_place_and_nothing_is_started(
    tmp_path: Path, name: str, verb: str
) -> None:
    """Neither a broker nor a journal nor a folder may come of a file that breaks rules."""
    path, out = write_bad(tmp_path, name), tmp_path / "out"

    result = call(*VERBS[verb](path, out), "--json")

    found = document(result)
    _, code, expected = BAD[name]
    assert result.exit_code == expected
    assert {one["code"] for one in found["findings"]} == {code}
    assert found["ok"] is False
    assert PLACE.search(result.stderr) is not None
    assert f"[{code}]" in result.stderr
    assert not out.exists()


@pytest.mark.parametrize("verb", VERBS)
def test_a_missing_sequence_is_bad_use(tmp_path: Path, verb: str) -> None:
    """A script must tell a wrong path from a wrong sequence."""
    result = call(*VERBS[verb](tmp_path / "none.yaml", tmp_path / "out"), "--json")

    assert result.exit_code == BAD_USE
    assert document(result)["findings"][0]["code"] == "SEQ001"
    assert f"{tmp_path}/none.yaml:1:1: file cannot be opened" in result.stderr
    assert not (tmp_path / "out").exists()


def test_everything_that_is_wrong_is_told_at_once(tmp_path: Path) -> None:
    """Nobody wants to find five mistakes in five calls."""
    body = (
        "barriers:\n  meet: {timeout: 5 mm}\nlanes:\n  fore:\n    - {do: park, speed: 3}\n"
        "    - barrier: meet\n  aft:\n    - {do: park}\n    - {do: [park]}\n"
    )

    result = call("check", "--quick", str(write_sequence(tmp_path, body)), "--json")

    found = [(one["line"], one["column"], one["code"]) for one in document(result)["findings"]]
    assert found == [(8, 19, "SEQ012"), (11, 18, "SEQ006"), (15, 12, "SEQ008")]
    assert result.exit_code == FINDINGS


# check -----------------------------------------------------------------------------------------


def test_a_sound_file_is_proved_unless_only_the_rules_are_asked_for() -> None:
    """What was not proved must not look as if it were."""
    quick = document(call("check", "--quick", str(MAKEUP), "--json"))
    whole = call("check", "--causes", "0", str(MAKEUP), "--json")

    assert (quick["ok"], quick["good"], quick["proofs"]) == (True, [str(MAKEUP)], [])
    (proof,) = document(whole)["proofs"]
    assert (whole.exit_code, proof["proved"], proof["violations"]) == (GOOD, True, [])


def test_a_proof_that_is_cut_short_is_not_good() -> None:
    """A bound ends in "not proved", whatever was seen until then."""
    cut = call("check", "--states", "100", str(MAKEUP), "--json")

    (proof,) = document(cut)["proofs"]
    assert (cut.exit_code, proof["proved"], proof["complete"]) == (FINDINGS, False, False)
    assert "not proved: cut at 100 states" in cut.stderr


def test_the_worst_of_several_files_decides(tmp_path: Path) -> None:
    """One wrong file among many must fail a pipeline."""
    bad = write_bad(tmp_path, "an unknown key")
    none = tmp_path / "none.yaml"

    one = call("check", "--quick", str(MAKEUP), str(bad), "--json")
    two = call("check", "--quick", str(bad), str(none), str(MAKEUP), "--json")

    assert (one.exit_code, document(one)["good"]) == (FINDINGS, [str(MAKEUP)])
    assert (two.exit_code, document(two)["good"]) == (BAD_USE, [str(MAKEUP)])
    assert [one["code"] for one in document(two)["findings"]] == ["SEQ006", "SEQ001"]


# dryrun ----------------------------------------------------------------------------------------


def test_a_dry_run_ends_with_one_document_and_writes_what_it_saw(tmp_path: Path) -> None:
    """Scripts read the document, people the text; the trace is what its digest says."""
    out = tmp_path / "out"

    result = call("dryrun", str(write_short_sequence(tmp_path)), "--out", str(out), "--json")

    told = document(result)
    assert (result.exit_code, told["ended"], told["open_points"]) == (GOOD, "complete", [])
    assert told["simulated"] is True
    assert "SIMULATED" in result.stderr
    run, *names = sorted(path.name for path in out.iterdir())
    assert run.startswith("dryrun_short_")
    assert names == ["notices.txt", "records.sqlite", "trace.jsonl"]
    assert len((out / "trace.jsonl").read_text().splitlines()) >= told["deliveries"] > 0


def test_without_json_people_read_on_stdout(tmp_path: Path) -> None:
    """The document is only for those who ask for it."""
    result = call("dryrun", str(write_short_sequence(tmp_path)))

    assert result.exit_code == GOOD
    assert "ended complete" in result.stdout
    assert "{" not in result.stdout
    assert result.stderr == ""


def test_a_dry_run_that_is_held_or_aborted_ends_with_three(tmp_path: Path) -> None:
    """Answers come from the case, or from a file of answers instead."""
    case = tmp_path / "case.yaml"
    case.write_text("case: slip\ncauses:\n  - {cause: reaction_slip, side: aft}\n")
    answers = tmp_path / "answers.yaml"
    answers.write_text("acts:\n  - {act: abort, when: held, after: 5 s, by: mate}\n")
    words = ["dryrun", str(write_short_sequence(tmp_path)), "--case", str(case), "--json"]

    held = call(*words)
    aborted = call(*words, "--answer", str(answers))

    assert (held.exit_code, document(held)["ended"]) == (HELD, "held")
    assert (aborted.exit_code, document(aborted)["ended"]) == (HELD, "aborted")
    assert "mate" in document(aborted)["reason"]


def test_an_answer_file_answers_the_prompts_of_a_dry_run(tmp_path: Path) -> None:
    """`--answer FILE` stands in for a person at the terminal, once for each entry."""
    case = tmp_path / "case.yaml"
    case.write_text("case: off\ncauses:\n  - {cause: bolt_missing, bolt: 1}\n")
    answers = tmp_path / "answers.yaml"
    answers.write_text(
        "answers:\n  - {prompt: not_found, answer: again, by: mate}\n"
        "  - {prompt: not_found, answer: abort, by: mate}\n"
    )

    result = call(*("dryrun", str(MAKEUP), "--case", str(case), "--answer", str(answers), "--json"))

    asked = [one for one in document(result)["notices"] if one["kind"] == "prompt"]
    assert (result.exit_code, document(result)["ended"], len(asked)) == (HELD, "aborted", 2)
    assert "answered abort" in document(result)["reason"]


@pytest.mark.parametrize(
    ("option", "text", "expected"),
    [
        ("--case", "case: x\ncauses: [{cause: burrr}]\n", ("SEQ055", FINDINGS)),
        ("--case", "case: x\ncauses: [{cause: burr, bolt: 9}]\n", ("SEQ017", FINDINGS)),
        ("--case", "case: x\ncauses: [{cause: burr, side: port}]\n", ("SEQ056", FINDINGS)),
        ("--case", "case: x\ncauses: [{cause: party_cut}]\n", ("SEQ007", FINDINGS)),
        ("--case", "case: [\n", ("SEQ001", BAD_USE)),
        ("--answer", "answers: [{prompt: x, answer: maybe, by: y}]\n", ("SEQ009", FINDINGS)),
        ("--answer", "case: x\n", ("SEQ006", FINDINGS)),
        ("--answer", "", ("SEQ001", BAD_USE)),
    ],
)
@pytest.mark.parametrize("verb", ["dryrun", "run"])
def test_a_bad_case_or_answer_file_is_told_and_nothing_is_started(
    tmp_path: Path, verb: str, option: str, text: str, expected: tuple[str, int]
) -> None:
    """The causes are judged against the catalogue, the joint and the cell before a run."""
    path, out = tmp_path / "given.yaml", tmp_path / "out"
    path.write_text(text)

    result = call(verb, str(MAKEUP), option, str(path), "--out", str(out), "--json")

    (found,) = document(result)["findings"]
    assert (found["code"], result.exit_code) == expected
    assert f"{path}:" in result.stderr
    assert not out.exists()


def test_a_folder_that_cannot_be_made_is_bad_use(tmp_path: Path) -> None:
    """Said in a line, not in a traceback."""
    (tmp_path / "file").write_text("")
    out = tmp_path / "file" / "out"

    result = call("dryrun", str(write_short_sequence(tmp_path)), "--out", str(out), "--json")

    assert result.exit_code == BAD_USE
    assert "name another folder" in document(result)["error"]


# run, arm, floor -------------------------------------------------------------------------------


def test_a_run_without_a_broker_says_so_within_five_seconds(tmp_path: Path) -> None:
    """Issue 2: a clear line within 5 s, and no journal of a run that never was."""
    address, out = f"mqtt://127.0.0.1:{free_port()}", tmp_path / "out"
    words = ["run", str(write_short_sequence(tmp_path)), "--broker", address, "--out", str(out)]

    done = subprocess.run(
        [sys.executable, "-m", "coordinator.cli.app", *words, "--json"],
        capture_output=True,
        text=True,
        timeout=15,
        check=False,
    )

    assert done.returncode == BAD_USE
    assert "no MQTT broker answers" in json.loads(done.stdout)["error"]
    assert address in done.stderr
    assert not list(tmp_path.rglob("journal*"))


@pytest.mark.parametrize(
    "options", [["--real"], ["--real", "--broker", "mqtt://127.0.0.1:1", "--speed", "2"]]
)
def test_wishes_that_do_not_go_together_are_bad_use(tmp_path: Path, options: list[str]) -> None:
    """Real arms are not hurried and stand on a broker of their own."""
    result = call("run", str(MAKEUP), "--out", str(tmp_path / "out"), *options, "--json")

    assert result.exit_code == BAD_USE
    assert "needs --broker, and takes neither --speed" in document(result)["error"]
    assert not (tmp_path / "out").exists()


def test_an_arm_that_the_cell_does_not_have_is_bad_use() -> None:
    """The sides there are stand in the message."""
    result = call("arm", "port", "--sequence", str(MAKEUP))

    assert result.exit_code == BAD_USE
    assert "side is 'port', must be one of fore, aft" in result.stderr


@pytest.mark.parametrize("words", [["arm", "fore"], ["floor"]])
def test_a_party_of_a_bad_sequence_does_not_start(tmp_path: Path, words: list[str]) -> None:
    """A party reads the same files by the same rules as the coordinator."""
    path = write_bad(tmp_path, "an unknown key")

    result = call(*words, "--sequence", str(path), "--out", str(tmp_path / "out"))

    assert result.exit_code == FINDINGS
    assert "[SEQ006]" in result.stderr
    assert not (tmp_path / "out").exists()


# joint -----------------------------------------------------------------------------------------


def test_the_figures_of_a_joint_come_with_their_sources() -> None:
    """A figure without its source is worth nothing to whoever has to sign."""
    result = call("joint", str(JOINT), "--json")

    assert result.exit_code == GOOD
    assert document(result)["ok"] is True
    assert "N" in result.stderr
    assert result.stdout.count("\n") == 1


def test_a_joint_that_is_wrong_or_missing_is_told(tmp_path: Path) -> None:
    """The same codes as for a sequence."""
    wrong = tmp_path / "joint.yaml"
    wrong.write_text(JOINT.read_text(encoding="utf-8").replace("count: 8", "count: 7"))

    assert call("joint", str(wrong), "--json").exit_code == FINDINGS
    assert call("joint", str(tmp_path / "none.yaml"), "--json").exit_code == BAD_USE


# records ---------------------------------------------------------------------------------------


def test_records_are_listed_and_filtered(tmp_path: Path) -> None:
    """One document with every record, without traces."""
    filled(tmp_path)

    everything = call("records", "list", "--out", str(tmp_path), "--json")
    rejected = call("records", "list", "--out", str(tmp_path), "--verdict", "rejected", "--json")

    assert everything.exit_code == GOOD
    assert [(one["bolt"], one["verdict"]) for one in document(everything)["records"]] == [
        (1, "accepted"),
        (5, "rejected"),
    ]
    assert [one["bolt"] for one in document(rejected)["records"]] == [5]
    assert "trace_time_s" not in document(everything)["records"][0]
    assert "2 records" in everything.stderr


def test_a_record_is_shown_with_its_trace_and_a_missing_one_is_bad_use(tmp_path: Path) -> None:
    """The number is the one in the list."""
    filled(tmp_path)

    shown = call("records", "show", "2", "--out", str(tmp_path), "--json")
    missing = call("records", "show", "99", "--out", str(tmp_path), "--json")

    assert shown.exit_code == GOOD
    assert document(shown)["record"]["trace_torque_nm"] == [10.0, 600.0, 1000.0]
    assert missing.exit_code == BAD_USE
    assert "no record 99" in document(missing)["error"]


def test_a_whole_chain_is_verified_and_a_changed_row_is_named(tmp_path: Path) -> None:
    """Exit 1 and the row, so that a script notices and a person can look."""
    path = filled(tmp_path)

    whole = call("records", "verify", "--out", str(tmp_path), "--json")
    overwrite(path, "UPDATE record SET torque_nm = 1000 WHERE bolt = 5")
    changed = call("records", "verify", "--out", str(tmp_path), "--json")

    assert (whole.exit_code, document(whole)["rows"]) == (GOOD, 4)
    assert changed.exit_code == FINDINGS
    assert document(changed)["finding"] == "row 3 (record of run 'run_1', bolt 5) was altered"
    assert "row 3" in changed.stderr


@pytest.mark.parametrize("column", ["trace_time_s", "results"])
def test_a_row_that_cannot_be_read_is_told_in_a_line(tmp_path: Path, column: str) -> None:
    """A store that was tampered with is no reason for a traceback."""
    overwrite(filled(tmp_path), f"UPDATE record SET {column} = 'not json' WHERE bolt = 5")

    shown = call("records", "show", "3", "--out", str(tmp_path), "--json")
    verified = call("records", "verify", "--out", str(tmp_path), "--json")

    assert shown.exit_code == BAD_USE
    assert "cannot be read" in document(shown)["error"]
    assert verified.exit_code == FINDINGS


@pytest.mark.parametrize("words", [["list"], ["show", "1"], ["verify"]])
def test_a_missing_store_is_bad_use_and_is_not_made(tmp_path: Path, words: list[str]) -> None:
    """Looking must not leave an empty store behind that would pass for a whole one."""
    result = call("records", *words, "--out", str(tmp_path / "none"), "--json")

    assert result.exit_code == BAD_USE
    assert "no records here" in document(result)["error"]
    assert not (tmp_path / "none").exists()


@pytest.mark.parametrize("words", [["list"], ["show", "1"], ["verify"]])
def test_a_file_that_is_no_store_is_bad_use(tmp_path: Path, words: list[str]) -> None:
    """The reason comes from the database, in one line."""
    (tmp_path / "records.sqlite").write_text("no database, only text that is long enough")

    result = call("records", *words, "--out", str(tmp_path), "--json")

    assert result.exit_code == BAD_USE
    assert "not a database" in document(result)["error"]


# The program -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "words", [[], ["nonsense"], ["check"], ["dryrun", "x.yaml", "--seed", "one"], ["records"]]
)
def test_words_that_the_program_does_not_know_are_bad_use(words: list[str]) -> None:
    """2, as for every other bad use."""
    assert call(*words).exit_code == BAD_USE


def test_the_program_tells_a_process_what_it_tells_a_test(tmp_path: Path) -> None:
    """Once from outside: streams and exit codes are those of a real process."""
    bad = write_bad(tmp_path, "a barrier of one side")
    command = [sys.executable, "-m", "coordinator.cli.app"]

    done = [
        subprocess.run([*command, *words], capture_output=True, text=True, check=False)
        for words in (
            ["check", "--quick", str(MAKEUP), "--json"],
            ["check", "--quick", str(bad), "--json"],
            ["dryrun", str(tmp_path / "none.yaml"), "--json"],
        )
    ]

    assert [one.returncode for one in done] == [GOOD, FINDINGS, BAD_USE]
    assert [json.loads(one.stdout)["ok"] for one in done] == [True, False, False]
    assert f"{bad}:11:16: " in done[1].stderr
