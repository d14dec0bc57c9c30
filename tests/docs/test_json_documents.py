"""What verbs print with `--json` is what their schemas say, and errors have one form."""

import json
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from typer.testing import CliRunner

from coordinator.cli.app import app
from coordinator.cli.documents.declared import VERBS, schema_of_document
from coordinator.live.recording import record_into
from coordinator.records.journal import FILE_NAME
from coordinator.records.rows import Run
from coordinator.records.store import RecordStore
from tests.support.house import ROOT
from tests.support.proofs import ORIGIN_US, proof
from tests.support.sequence_files import SEQUENCES
from tests.support.small_plan import small_plan
from tests.support.verbs_guide import commands

PARK, MAKEUP = str(SEQUENCES / "park.yaml"), str(SEQUENCES / "makeup_8.yaml")
CELL = str(SEQUENCES / "cells" / "sill_point.yaml")
JOINT = str(SEQUENCES / "joints" / "airlift_16in_8.yaml")
WINDOWS = str(SEQUENCES / "windows" / "strict.yaml")
NEW = shlex.split(
    "--side left --side right --bolts 8 --thread M30 --grade 8.8 --grip '120 mm' --friction 0.12 "
    "--engagement '40 mm' --bolt-circle '420 mm' --wrench-torque '3 kN.m' --calibrated 2026-01-01 "
    "--calibration-due 2999-01-01"
)
ELSEWHERE = {
    "commission arm": "tests/broker/test_from_simulated_to_real.py has an arm on a bus",
    "gateway": "tests/broker/test_gateway_run.py has controllers",
    "run": "tests/broker/test_cli_run.py has a bus",
    "resume": "tests/broker/test_resume.py has a run that was left",
}
"""Verbs whose documents are judged where there is what they need."""
CALLS: dict[str, Callable[[Path], list[str]]] = {
    "check": lambda _: ["check", PARK, "--causes", "0", "--leave-out"],
    "check a broken file": lambda _: [
        "check", "--quick", str(SEQUENCES / "broken" / "SEQ006_unknown_key.yaml")
    ],
    "dryrun": lambda out: ["dryrun", PARK, "--out", str(out / "park")],
    "faults": lambda _: ["faults", PARK, "--cause", "signal_silent"],
    "joint": lambda out: ["joint", JOINT, "--figures", str(out)],
    "draw": lambda _: ["draw", PARK, "--out", "-"],
    "compare": lambda _: ["compare", PARK, MAKEUP],
    "schema": lambda out: ["schema", "--out", str(out)],
    "contract": lambda out: ["contract", "--out", str(out)],
    "contract of a broker": lambda out: ["contract", CELL, "--broker-config", str(out / "broker")],
    "fuzz": lambda out: ["fuzz", PARK, "--cases", "3", "--out", str(out / "campaign")],
    "new": lambda out: ["new", str(out / "quay"), *NEW],
    "records list": lambda out: ["records", "list", "--out", str(out)],
    "records export": lambda out: ["records", "export", str(out / "all.csv"), "--out", str(out)],
    "records re-judge": lambda out: ["records", "re-judge", WINDOWS, "--out", str(out)],
    "records look-back": lambda out: [
        "records", "look-back", "fore/wrench", "--since", "2020-01-01", "--out", str(out)
    ],
    "records trends": lambda out: ["records", "trends", "--out", str(out)],
    "records trends of steps": lambda out: ["records", "trends", "--steps", "--out", str(out)],
    "records certificate": lambda out: [
        "records", "certificate", "run_1", "--file", str(out / "c.html"), "--out", str(out)
    ],
    "records show": lambda out: ["records", "show", "2", "--out", str(out)],
    "records verify": lambda out: ["records", "verify", "--out", str(out)],
    "commission points": lambda out: ["commission", "points", PARK, "--book", str(out)],
    "commission matrix": lambda out: ["commission", "matrix", PARK, "--book", str(out)],
    "commission lists": lambda out: ["commission", "lists", PARK, "--book", str(out)],
    "commission pack": lambda out: [
        *("commission", "pack", PARK, "--book", str(out), "--by", "ada", "--out", str(out / "pack"))
    ],
}  # fmt: skip
WRONG: dict[str, list[str]] = {
    "an unknown verb": ["chekc"],
    "an unknown option": ["check", "--quik", PARK],
    "a value out of range": ["run", PARK, "--speed", "99"],
    "a missing argument": ["dryrun"],
    "a file that is not there": ["dryrun", "none.yaml"],
    "a file with findings": ["dryrun", str(SEQUENCES / "broken" / "SEQ006_unknown_key.yaml")],
    "no records": ["records", "list", "--out", "nowhere"],
    "options that exclude each other": ["contract", CELL],
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder with the records of one run."""
    store = RecordStore(f"sqlite:///{tmp_path / 'records.sqlite'}")
    run = Run("run_1", "airlift", "small", "d" * 64, "2030-01-01T00:00:00Z")
    store.begin_run(run)
    write = record_into(store, small_plan(), run, ORIGIN_US)
    write(proof(4))
    write(proof(5, node=4, torque_nm=800.0))
    store.end_run("run_1", "complete", "", "2030-01-01T01:00:00Z")
    store.close()
    return tmp_path


def verb_of(words: list[str]) -> str:
    """Return the verb in the words of a call."""
    return " ".join(words[:2]) if words[0] in ("records", "commission") else words[0]


def printed(words: list[str]) -> tuple[int, dict[str, Any], str]:
    """Call the program and return exit code, its one document, and stderr."""
    done = CliRunner().invoke(app, [*words, "--json"])
    (line,) = done.stdout.splitlines()
    return done.exit_code, json.loads(line), done.stderr


def test_every_verb_that_takes_json_declares_its_documents() -> None:
    """A verb without a schema could change its keys unseen."""
    takes = [words for words, one in commands() if "json" in [it.name for it in one.params]]

    assert sorted(takes) == sorted(VERBS)
    judged = {verb_of(make(Path())) for make in CALLS.values()}
    for verb, why in ELSEWHERE.items():
        text = (ROOT / why.split()[0]).read_text(encoding="utf-8")
        assert f'schema_of_document("{verb}")' in text
    assert sorted({*judged, *ELSEWHERE, "timeline", "replay"}) == sorted(VERBS)


@pytest.mark.parametrize("name", CALLS)
def test_a_verb_prints_what_its_schema_says(name: str, folder: Path) -> None:
    """Scripts are written against the schema; `ok` follows the exit code."""
    words = CALLS[name](folder)

    code, document, _ = printed(words)

    jsonschema.validate(document, schema_of_document(verb_of(words)))
    assert "error" not in document
    assert document["ok"] == (code == 0) or verb_of(words) == "compare"


def test_a_rehearsed_run_has_a_timeline_with_its_schema(tmp_path: Path) -> None:
    """A timeline is made of a journal, which a rehearsal leaves."""
    printed(["dryrun", PARK, "--out", str(tmp_path)])
    (journal,) = tmp_path.rglob(FILE_NAME)

    _, document, _ = printed(["timeline", str(journal.parent)])

    jsonschema.validate(document, schema_of_document("timeline"))
    assert document["ok"]


def test_a_replayed_case_prints_what_its_schema_says() -> None:
    """The shipped regression cases are what a user replays first."""
    case = sorted((ROOT / "tests" / "regression").glob("*.yaml"))[0]

    _, document, _ = printed(["replay", str(case)])

    jsonschema.validate(document, schema_of_document("replay"))
    assert "error" not in document


@pytest.mark.parametrize("name", WRONG)
def test_an_error_of_any_kind_is_one_document_and_a_line_on_stderr(name: str) -> None:
    """A script must not need to know who refused: parser, file or verb."""
    code, document, told = printed(WRONG[name])

    assert code in (1, 2)
    assert document["ok"] is False
    assert document["error"]
    assert told
    jsonschema.validate(document, schema_of_document("dryrun"))


@pytest.mark.parametrize("name", WRONG)
def test_without_json_an_error_leaves_stdout_empty(name: str) -> None:
    """What is piped on must be results alone."""
    done = CliRunner().invoke(app, WRONG[name])

    assert done.stdout == ""
    assert done.stderr
