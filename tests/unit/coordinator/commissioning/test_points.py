"""The point-check sheet: derived from the files, filled by what was seen, outdated by a change."""

from collections.abc import Iterable, Mapping
from pathlib import Path

import pytest
import yaml

from coordinator.commissioning.book import Book, book_path
from coordinator.commissioning.point_watch import PointWatch, Sighting
from coordinator.commissioning.points import Point, points_of
from coordinator.commissioning.sheet import SEEN, sheet_of, sighting, unchecked
from coordinator.sequence import Loaded, load
from coordinator.wire.messages import Body, Finished, FloorSignals, Message, PartyState
from tests.support.short_sequence import write_short_sequence

S = 1_000_000
GOOD = {
    "floor_clear": True,
    "string_still": True,
    "nothing_overhead": True,
    "hydraulics_ready": True,
}


@pytest.fixture
def loaded(tmp_path: Path) -> Loaded:
    """The short sequence on the shipped cell."""
    return load(write_short_sequence(tmp_path))


def said(body: Body, source: str) -> Message:
    """Say something as a party."""
    return Message(source, source, 1, 1, 0, body)


def states(found: Iterable[Sighting]) -> list[tuple[str, str]]:
    """Return what was sighted, without when and by whom."""
    return [(one.tag, one.state) for one in found]


def test_the_sheet_has_a_line_for_all_that_the_cell_file_names(
    loaded: Loaded, tmp_path: Path
) -> None:
    """Read here from the YAML itself: a signal left off the sheet is never checked."""
    cell = yaml.safe_load((tmp_path / "cells" / "sill_point.yaml").read_text(encoding="utf-8"))
    wanted = [f"floor/signal/{name}" for name in cell["signals"]]
    wanted += [f"floor/{one['kind']}/{name}" for name, one in cell["interlocks"].items()]
    wanted += [
        f"{side}/tool/{tool}" for side, one in cell["sides"].items() for tool in one["tools"]
    ]
    wanted += [f"{side}/{what}" for side in cell["sides"] for what in ("link", "state")]
    told = cell["actions"]["pull"]["results"]
    wanted += [f"{side}/reading/{name}" for side in cell["sides"] for name in told]

    tags = [one.tag for one in points_of(loaded)]

    assert sorted(tags) == sorted([*wanted, "floor/link"])


def test_a_signal_is_seen_by_both_values_and_an_interlock_when_it_is_too_old_as_well(
    loaded: Loaded,
) -> None:
    """Silence must count as danger, so silence must have been seen to."""
    watch = PointWatch(loaded.cell, points_of(loaded))

    first = states(watch.hear(said(FloorSignals(GOOD), "floor"), False, 0))
    bad = FloorSignals({**GOOD, "floor_clear": False})
    second = states(watch.hear(said(bad, "floor"), False, 500_000))

    assert ("floor/signal/floor_clear", "true") in first
    assert ("floor/trip/person_on_floor", "good") in first
    assert ("floor/signal/floor_clear", "false") in second
    assert ("floor/trip/person_on_floor", "active") in second
    assert watch.pass_time(500_000 + 1_500_000) == []  # max_age of the cell: not yet too old
    silent = states(watch.pass_time(500_000 + 1_500_001))
    assert ("floor/trip/person_on_floor", "unknown") in silent


def test_a_value_from_the_memory_of_the_broker_or_in_a_foreign_name_is_not_seen(
    loaded: Loaded,
) -> None:
    """CM14: A retained value may be a week old."""
    watch = PointWatch(loaded.cell, points_of(loaded))
    forged = Message("aft", "floor", 1, 1, 0, FloorSignals(GOOD))

    assert watch.hear(said(FloorSignals(GOOD), "floor"), True, 0) == []
    assert watch.hear(forged, False, 0) == []


def test_an_arm_is_seen_there_gone_standing_and_with_each_tool(loaded: Loaded) -> None:
    """Both the confirmation of a lock and its absence must have come through."""
    watch = PointWatch(loaded.cell, points_of(loaded))
    state = PartyState(True, 1, "idle", simulated=False, tool="wrench")

    found = watch.hear(said(state, "fore"), False, 0)

    assert states(found) == [
        ("fore/link", "there"),
        ("fore/state", "idle"),
        ("fore/tool/gripper", "off"),
        ("fore/tool/spinner", "off"),
        ("fore/tool/wrench", "mounted"),
    ]
    assert {one.simulated for one in found} == {False}
    gone = watch.hear(said(PartyState(online=False), "fore"), False, S)
    assert states(gone) == [("fore/link", "gone")]


def test_a_reading_is_seen_only_as_a_finite_number(loaded: Loaded) -> None:
    """A text or not-a-number in the place of a torque is a broken gauge."""
    watch = PointWatch(loaded.cell, points_of(loaded))
    results: Mapping[str, float | str] = {
        "torque_nm": 812.0,
        "pressure_pa": float("nan"),
        "angle_rad": "much",
    }

    found = watch.hear(said(Finished(7, results), "fore"), False, 0)

    assert states(found) == [("fore/reading/torque_nm", "a number")]


def enter(book: Book, loaded: Loaded, point: Point, **more: object) -> None:
    """Write down every state of a point."""
    for state in point.expected:
        book.append("t", SEEN, "Ada", sighting(point, state, loaded.files, **more))


def test_unchecked_points_are_told_by_name_until_every_state_was_seen(
    loaded: Loaded, tmp_path: Path
) -> None:
    """A person must be told which wire to look at."""
    points = points_of(loaded)
    with Book.open(book_path(tmp_path, "cell")) as book:
        for point in points:
            if point.tag != "floor/signal/floor_clear":
                enter(book, loaded, point, how="bus", simulated=False)
        body = sighting(points[0], "true", loaded.files, how="bus", simulated=False)
        book.append("t", SEEN, "Ada", body)
        left = unchecked(sheet_of(points, book.entries), ("floor", "fore"))
        assert left == ("floor/signal/floor_clear: open, not seen false",)
        enter(book, loaded, points[0], how="person", why="pulled the plug")

        assert unchecked(sheet_of(points, book.entries), ("floor", "fore", "aft")) == ()


def test_what_a_simulated_party_shows_checks_no_real_one(loaded: Loaded, tmp_path: Path) -> None:
    """CM16: A simulated switch proves no wire; neither does one that has not said what it is."""
    points = points_of(loaded)
    with Book.open(book_path(tmp_path, "cell")) as book:
        for number, point in enumerate(points):
            enter(book, loaded, point, how="bus", simulated=(True, None)[number % 2])

        assert {row.result for row in sheet_of(points, book.entries)} == {"open"}
        rehearsed = sheet_of(points, book.entries, real_only=False)
        assert {row.result for row in rehearsed} == {"checked"}


def test_a_changed_file_outdates_the_points_concerned_and_no_other(
    loaded: Loaded, tmp_path: Path
) -> None:
    """CM13, CM15: A new greatest age is a new promise; the tools have nothing to do with it."""
    points = points_of(loaded)
    cell = tmp_path / "cells" / "sill_point.yaml"
    before = "floor_clear: {text: nobody inside the line, max_age: 1500 ms"
    text = cell.read_text(encoding="utf-8")
    assert before in text
    with Book.open(book_path(tmp_path, "cell")) as book:
        for point in points:
            enter(book, loaded, point, how="bus", simulated=False)
        cell.write_text(text.replace(before, before.replace("1500", "1400")), encoding="utf-8")
        changed = load(tmp_path / "small.yaml")

        rows = sheet_of(points_of(changed), book.entries)

    outdated = [row.point.tag for row in rows if row.result != "checked"]
    assert outdated == ["floor/signal/floor_clear", "floor/trip/person_on_floor"]
    assert {row.result for row in rows} == {"checked", "outdated"}
