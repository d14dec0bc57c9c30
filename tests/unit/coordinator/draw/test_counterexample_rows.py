"""Which rows of a counterexample are shown, on the terminal and in the picture."""

from xml.etree import ElementTree

from coordinator.draw.counterexample import draw_counterexample
from coordinator.draw.rows import ROWS_MAX, Gap, Row, rows_of
from coordinator.prove.monitors import Happened, Standing, Violation

PARTIES = ("fore", "aft")


def course(count: int, *, wrong_at: int) -> tuple[Happened, ...]:
    """Return so many things that happen, one of them wrong, the two lanes in turn."""
    well = [Happened(at % 2, "is done", at, f"step {at}", f"a.yaml:{at}:7") for at in range(count)]
    well[wrong_at] = Happened(0, "fails: seized", wrong_at, "pull", "a.yaml:9:7", is_cause=True)
    return tuple(well)


def test_a_short_counterexample_is_shown_whole() -> None:
    """What fits is not hidden."""
    whole = course(ROWS_MAX, wrong_at=3)

    assert rows_of(whole, PARTIES) == tuple(Row(at, one) for at, one in enumerate(whole, 1))


def test_a_long_one_hides_only_what_goes_well_and_counts_it() -> None:
    """CP3: Of a hundred and twenty rows nobody finds the two that matter."""
    rows = rows_of(course(121, wrong_at=60), PARTIES)

    shown = [row for row in rows if isinstance(row, Row)]
    gaps = [row for row in rows if isinstance(row, Gap)]
    hidden = sum(gap.last - gap.first + 1 for gap in gaps)
    assert len(rows) < ROWS_MAX
    assert len(shown) + hidden == 121
    assert [row.number for row in shown if row.one.is_cause] == [61]
    assert [row.number for row in shown][-6:] == [116, 117, 118, 119, 120, 121]
    assert gaps[0].words == "59 that went well are left out (fore 30, aft 29)"


def test_the_picture_shows_the_gaps_what_breaks_it_and_how_everybody_stands() -> None:
    """A picture of a hundred and twenty rows shows nobody anything."""
    by = (Happened(1, "begins lift", 3, "lift", "a.yaml:30:7"),)
    broken = Violation("properties.a", "aft begins lift", (), 1, course(121, wrong_at=60), by)
    stands = (
        Standing("fore", "stands", ("aft at met",), 1, "met", "a.yaml:12:7"),
        Standing("aft", "at work", (), 3, "lift", "a.yaml:30:7"),
        Standing("floor and people", "the procedure is running"),
    )

    text = draw_counterexample("small", PARTIES, broken, "never", ("how it stands", stands))

    root = ElementTree.fromstring(text)
    words = [one.text or "" for one in root.iter()]
    assert any("59 that went well are left out" in one for one in words)
    assert "breaks it: begins lift" in words
    assert "a.yaml:30:7" in words
    assert {"How it stands", "fore: stands", "waits for aft at met"} <= set(words)
    assert float(root.attrib["viewBox"].split()[3]) < 2_000
