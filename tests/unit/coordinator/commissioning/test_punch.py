"""The punch list: opened by failed checks, closed by passed re-checks, by nobody's hand."""

from typing import Any

from coordinator.commissioning.book import Entry
from coordinator.commissioning.punch import punch_list


def book(*entries: tuple[str, dict[str, Any]]) -> list[Entry]:
    """Write a book in memory; each entry a day after the one before."""
    return [
        Entry(n, f"2030-01-0{n + 1}", kind, "Ada", body, f"{n}" * 64)
        for n, (kind, body) in enumerate(entries)
    ]


def acceptance(result: str, *, simulated: bool = False) -> tuple[str, dict[str, Any]]:
    """Look at one line."""
    line = {"code": "ARM18", "title": "holds by itself", "result": result, "text": f"was {result}"}
    return "acceptance", {"party": "fore", "simulated": simulated, "seen": [line]}


def run(phase: str, *, heard: bool = True, fore: str = "real") -> tuple[str, dict[str, Any]]:
    """End a run."""
    party = {
        "heard_throughout": heard,
        "silent_s_max": 9.5,
        "called_simulated": False,
        "moved_untold": [],
    }
    compared = {} if fore == "simulated" else {"parties": {"fore": party}}
    body = {"run": "r", "sequence": "s", "standings": {"fore": fore}, "phase": phase}
    return "run", {**body, "reason": "a leak", "compared": compared}


def ticked(*results: str) -> tuple[str, dict[str, Any]]:
    """Tick one cell so many times in one journal."""
    ticks = [
        {"cell": "trip false: both arms hold", "digest": "d", "result": one, "text": "t"}
        for one in results
    ]
    return "matrix", {"run": "r", "standings": {"floor": "real"}, "ticks": ticks}


def test_a_failed_check_opens_an_item_that_the_same_check_closes_once_it_passes() -> None:
    """CM20: both ends name the entry of the book, so that anybody can look it up."""
    items = punch_list(book(acceptance("failed"), acceptance("failed"), acceptance("passed")))

    (item,) = items
    assert (item.number, item.is_open, item.found) == (1, False, "was failed")
    assert item.what == "acceptance of real fore: ARM18 holds by itself"
    assert item.opened.startswith("2030-01-01, entry 0")
    assert item.closed.startswith("2030-01-03, entry 2")


def test_what_fails_again_is_a_new_item_and_what_was_not_looked_at_closes_none() -> None:
    """A line left out has not passed; a relapse must not hide behind an old closing."""
    entries = book(
        acceptance("failed"), acceptance("not done"), acceptance("passed"), acceptance("failed")
    )

    assert [one.is_open for one in punch_list(entries[:2])] == [True]
    assert [one.is_open for one in punch_list(entries)] == [False, True]


def test_a_pass_of_the_simulated_arm_closes_nothing_of_the_real_one() -> None:
    """They are two things to be put right."""
    items = punch_list(book(acceptance("failed"), acceptance("passed", simulated=True)))

    assert [one.is_open for one in items] == [True]


def test_a_run_that_was_held_and_a_silent_party_are_items_until_a_run_is_good() -> None:
    """Nobody has to remember why the first slow run ended early."""
    entries = book(run("held", heard=False), run("complete"))

    assert [(one.what, one.found) for one in punch_list(entries[:1])] == [
        ("run of s with fore real", "run r ended held: a leak"),
        ("fore heard throughout", "silent for 9.5 s"),
    ]
    assert not any(one.is_open for one in punch_list(entries))
    assert punch_list(book(run("held", fore="simulated"))) == ()


def test_a_journal_that_shows_a_cell_both_ways_has_not_passed_it() -> None:
    """Sometimes is not enough for a hold."""
    entries = book(ticked("failed"), ticked("passed", "failed"), ticked("passed", "passed"))

    assert [one.is_open for one in punch_list(entries[:2])] == [True]
    (item,) = punch_list(entries)
    assert item.what == "cause and effect on real parties: trip false: both arms hold"
    assert item.closed.startswith("2030-01-03")
