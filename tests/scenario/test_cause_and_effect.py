"""The cause-and-effect matrix: derived from the files, ticked from journals, and able to fail."""

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import yaml
from typer.testing import CliRunner

from coordinator.cli.app import app
from coordinator.commissioning.book import Entry
from coordinator.commissioning.matrix import CAUSES, EffectKind, matrix_of
from coordinator.commissioning.matrix_judge import Tick, judge
from coordinator.commissioning.matrix_sheet import TICKED, rows_of, ticks_body
from coordinator.core.decide import begin, decide
from coordinator.core.plan import InterlockKind, Plan
from coordinator.records.journal import FILE_NAME, Journal
from coordinator.rehearse.matrix_drill import Drill
from coordinator.sequence import Loaded, load
from tests.support.sequence_files import SEQUENCES

MAKEUP = SEQUENCES / "makeup_8.yaml"


@pytest.fixture(scope="module")
def makeup() -> Loaded:
    """Return the shipped make-up of eight bolts."""
    return load(MAKEUP)


def index_of(plan: Plan, name: str) -> int:
    """Return which interlock has a name."""
    return [one.name for one in plan.interlocks].index(name)


def drilled(loaded: Loaded, name: str, cause: str, *, truly: Plan | None = None) -> Sequence[Tick]:
    """Drill one interlock and judge it; `truly` is what a spoiled coordinator goes by."""
    spoiled = loaded if truly is None else replace(loaded, plan=truly)
    drill = Drill(spoiled)
    drill.run(drill.one_interlock(index_of(loaded.plan, name), cause), 600_000_000)
    return judged(loaded.plan, spoiled.plan, drill)


def judged(plan: Plan, truly: Plan, drill: Drill) -> Sequence[Tick]:
    """Judge by one plan what was decided by another."""
    state, decided = begin(truly), []
    for event in drill.events:
        state, effects = decide(truly, state, event)
        decided.append((event, effects, state))
    return judge(plan, decided, begin(plan))


def results(ticks: Sequence[Tick], effect: EffectKind) -> set[str]:
    """Return how an effect was judged."""
    return {one.result for one in ticks if one.cell.effect is effect}


def spoiled_kind(plan: Plan, name: str, kind: InterlockKind) -> Plan:
    """Return a plan whose interlock is of another kind, as a mistake in the core would have it."""
    index = index_of(plan, name)
    other = replace(plan.interlocks[index], kind=kind)
    interlocks = (*plan.interlocks[:index], other, *plan.interlocks[index + 1 :])
    return replace(plan, interlocks=interlocks)


def test_the_matrix_has_a_cell_for_every_interlock_and_exception_of_the_files(
    makeup: Loaded,
) -> None:
    """Read here from the YAML itself: by kind, what each must do and what not."""
    cell = yaml.safe_load((SEQUENCES / "cells" / "sill_point.yaml").read_text(encoding="utf-8"))
    columns = {"trip": 5, "interlock": 4, "permissive": 2}
    wanted = {name: columns[one["kind"]] * len(CAUSES) for name, one in cell["interlocks"].items()}

    cells = [one for one in matrix_of(makeup.plan) if one.effect is not EffectKind.GOES_ON]

    found = {name: sum(one.interlock == name for one in cells) for name in wanted}
    assert found == wanted
    excepted = {
        (makeup.plan.interlocks[index].name, node.move.action)
        for node in makeup.plan.nodes
        for index, _ in node.exceptions
        if node.move is not None
    }
    goes_on = [one for one in matrix_of(makeup.plan) if one.effect is EffectKind.GOES_ON]
    assert {(one.interlock, one.action) for one in goes_on} == excepted
    assert all(one.reason for one in goes_on)


def test_every_cell_passes_on_simulated_arms_and_refers_to_an_event_of_a_sound_journal(
    tmp_path: Path,
) -> None:
    """Ticked from logs: each reference leads to a journal that anybody can read again."""
    words = ["commission", "matrix", str(MAKEUP), "--drill", "--book", str(tmp_path)]
    page = tmp_path / "matrix.html"

    done = CliRunner().invoke(app, [*words, "--file", str(page), "--json"])

    document: dict[str, Any] = json.loads(done.stdout)
    assert done.exit_code == 0, done.stderr
    assert (document["failed"], document["untested"]) == (0, 0)
    assert {one["real"]["result"] for one in document["cells"]} == {"untested"}
    for one in document["cells"]:
        run, event, at = one["simulated"]["reference"].split(" (")[0].split(", ")
        journal = Journal.open(tmp_path / "drills" / run / FILE_NAME)
        events = list(journal.read_events())
        assert journal.verify() is None
        assert f"{events[int(event.split()[1]) - 1].at_us / 1e6:.2f} s" == at
        journal.close()
    assert "person_on_floor" in page.read_text(encoding="utf-8")
    again = CliRunner().invoke(app, [*words[:3], "--book", str(tmp_path), "--real", "--json"])
    assert (again.exit_code, json.loads(again.stdout)["untested"]) == (1, len(document["cells"]))


def test_a_coordinator_that_holds_nobody_fails_the_cell(makeup: Loaded) -> None:
    """A matrix that cannot fail proves nothing."""
    truly = spoiled_kind(makeup.plan, "string_moving", InterlockKind.PERMISSIVE)

    ticks = drilled(makeup, "string_moving", "false", truly=truly)

    assert results(ticks, EffectKind.HOLD) == {"failed"}
    assert results(drilled(makeup, "string_moving", "false"), EffectKind.HOLD) == {"passed"}


def test_a_coordinator_that_forgets_a_trip_fails_the_latch(makeup: Loaded) -> None:
    """A person who stepped in must not be forgotten as soon as the scanner is clear."""
    truly = spoiled_kind(makeup.plan, "person_on_floor", InterlockKind.INTERLOCK)

    ticks = drilled(makeup, "person_on_floor", "unknown", truly=truly)

    assert results(ticks, EffectKind.LATCH) == {"failed"}
    assert results(ticks, EffectKind.NO_START) == {"failed"}


def test_a_coordinator_that_trips_for_a_permissive_fails_that_it_goes_on(makeup: Loaded) -> None:
    """An effect that must stay away is a cell as well: nuisance holds are defects."""
    truly = spoiled_kind(makeup.plan, "supply_low", InterlockKind.TRIP)

    ticks = drilled(makeup, "supply_low", "false", truly=truly)

    assert results(ticks, EffectKind.HOLD) == {"failed"}


def test_a_coordinator_that_knows_no_exceptions_fails_what_must_go_on(makeup: Loaded) -> None:
    """The arm beneath the guided length would stand still with a pin in its gripper."""
    nodes = tuple(
        replace(one, exceptions=()) if one.move and one.move.action == "locate_joint" else one
        for one in makeup.plan.nodes
    )
    truly = replace(makeup.plan, nodes=nodes)
    drill = Drill(replace(makeup, plan=truly), starts=True, by=makeup.plan)
    drill.run(drill.exceptions())

    ticks = judged(makeup.plan, truly, drill)

    assert "failed" in results(ticks, EffectKind.GOES_ON)


def test_what_nobody_tried_has_no_tick(makeup: Loaded) -> None:
    """CM8: A start that nobody asked for was not refused."""
    drill = Drill(makeup, starts=True)
    drill.run(iter(()))
    steps = drill.one_interlock(index_of(makeup.plan, "person_on_floor"), "false")
    drill.run(iter((next(steps), next(steps))))  # Made bad before anybody starts, and left so.

    ticks = judged(makeup.plan, makeup.plan, drill)

    assert results(ticks, EffectKind.HOLD) == set()
    assert results(ticks, EffectKind.LATCH) == set()


def test_the_last_journal_decides_and_a_changed_file_outdates_its_cells(makeup: Loaded) -> None:
    """CM7, CM9, CM10: A failure after a pass is a failure, and new words want new tries."""
    plan = makeup.plan
    ticks = drilled(makeup, "supply_low", "false")
    spoiled = tuple(replace(one, result="failed") for one in ticks)
    bodies = [ticks_body("r1", "j1", "p", {}, ticks), ticks_body("r2", "j2", "p", {}, spoiled)]
    real = ticks_body("r3", "j3", "p", {"floor": "real"}, ticks)
    book = [Entry(n, "t", TICKED, "x", body) for n, body in enumerate((*bodies, real))]

    rows = {row.cell.name: row for row in rows_of(matrix_of(plan), book)}

    tried = [rows[one.cell.name] for one in ticks]
    assert {(row.simulated.result, row.real.result) for row in tried} == {("failed", "passed")}
    index = index_of(plan, "supply_low")
    other = replace(plan.interlocks[index], cause="the gauge was moved")
    changed = replace(plan, interlocks=(*plan.interlocks[:index], other))
    again = {row.cell.name: row for row in rows_of(matrix_of(changed), book)}
    assert {again[one.cell.name].real.result for one in ticks} == {"untested"}
