"""Planning, drawing and guide words: the same seed, the same cases; what is rare comes first."""

from collections import Counter
from itertools import pairwise
from random import Random

from coordinator.campaign.batch import Day
from coordinator.campaign.coverage import Coverage, ordered_pairs, ordered_triples
from coordinator.campaign.guide_words import DEVIATIONS, pairings, word_cases, worksheet
from coordinator.campaign.guide_words import WORDS as GUIDE_WORDS
from coordinator.campaign.planner import CROWD_US, TWICE_US, Planner, cells_of, draw_crowd
from coordinator.campaign.running import Effect, Outcome, Place
from coordinator.campaign.survey import Survey, Working, window_us
from coordinator.campaign.vocabulary import PEOPLE, draw_cause
from coordinator.core.events import Act
from tests.support.campaigns import WORDS

SURVEY = Survey(
    (
        Working("fore", "park", "park", 0, 1_000_000, 4_000_000),
        Working("aft", "park", "park", 0, 1_200_000, 3_000_000),
        Working("fore", "pull bolt 1", "pull", 1, 5_000_000, 25_000_000),
        Working("aft", "pull bolt 5", "pull", 5, 5_000_000, 24_000_000),
    ),
    30_000_000,
    Outcome("complete"),
    {"supply_low": ((5_500_000, "fore", 0), (9_000_000, "aft", 0))},
)


def test_the_same_seed_plans_the_same_cases_and_another_seed_others() -> None:
    """Whoever reads a case number can plan the case again."""
    plans = []
    for seed in (1, 1, 2):
        planner = Planner(WORDS, seed)
        plans.append([planner.plan(number, 7, SURVEY) for number in range(60)])

    assert plans[0] == plans[1]
    assert plans[0] != plans[2]
    assert len({case.causes for case in plans[0]}) > 50


def test_every_cell_of_a_small_day_is_planned_before_any_comes_up_often() -> None:
    """Pure chance would leave corners bare for long."""
    planner = Planner(WORDS, 3)
    for number in range(600):
        planner.plan(number, 7, SURVEY)

    cells = cells_of(WORDS, SURVEY)
    planned = {cell: planner.cells[cell] for cell in cells}
    assert min(planned.values()) >= 1
    assert len(cells) == len(WORDS.kinds) * len(SURVEY.cells())


def test_causes_come_in_the_order_of_their_times_and_lie_on_things_that_there_are() -> None:
    """An order that is counted must be an order in time."""
    planner = Planner(WORDS, 4)
    for number in range(300):
        case = planner.plan(number, 7, SURVEY)
        times = [cause.at_us or 0 for cause in case.causes]
        assert times == sorted(times)
        assert times[0] >= 1
        for cause in case.causes:
            assert cause.side in (None, *WORDS.parties)
            assert cause.bolt is None or 1 <= cause.bolt <= 8


def test_a_cause_that_acts_on_certain_work_begins_just_before_it() -> None:
    """A low supply is nothing while nobody pulls."""
    planner = Planner(WORDS, 5)
    near = [
        min(abs(5_500_000 - (cause.at_us or 0)), abs(9_000_000 - (cause.at_us or 0)))
        for number in range(400)
        for cause in planner.plan(number, 7, SURVEY).causes[:1]
        if cause.cause == "supply_low"
    ]

    assert len(near) > 20
    assert sum(distance < 1_300_000 for distance in near) > len(near) / 2


def test_what_is_drawn_survives_being_written_with_six_digits() -> None:
    """A case file must hold the very case."""
    random = Random(1)
    for _ in range(200):
        kind = random.choice(WORDS.kinds)
        for _, value in draw_cause(random, WORDS, kind, 5).parameters:
            assert value == float(f"{value:.6g}")


def test_a_moment_is_offered_only_where_the_step_lasts_so_long() -> None:
    """Else the cell could never be met."""
    assert window_us(SURVEY.working[0], "begins") == (1_000_001, 1_999_999)
    assert window_us(SURVEY.working[0], "long_at_work") is None
    assert window_us(SURVEY.working[2], "long_at_work") == (13_000_001, 24_999_999)


def test_only_what_has_acted_is_covered_and_order_counts() -> None:
    """A counter fed from what was meant would praise itself."""
    coverage = Coverage()
    place = Place("pull", "begins")
    effects = tuple(
        Effect(cause, place, acted)
        for cause, acted in (("loss", True), ("burr", False), ("delay", True), ("loss", True))
    )

    assert coverage.add(Outcome("held", effects=effects)) == 2 + 3 + 1
    assert coverage.add(Outcome("held", effects=effects)) == 0

    assert set(coverage.cells) == {("loss", "pull", "begins"), ("delay", "pull", "begins")}
    assert coverage.missed == Counter({("burr", "pull", "begins"): 2})
    assert set(coverage.pairs) == {("loss", "delay"), ("loss", "loss"), ("delay", "loss")}
    assert set(coverage.triples) == {("loss", "delay", "loss")}


def test_pairs_and_triples_are_those_that_counting_by_hand_gives() -> None:
    """The counter is our own, so it is counted after."""
    kinds = ["a", "b", "c", "d"]

    assert len(list(ordered_pairs(kinds))) == 6
    assert len(list(ordered_triples(kinds))) == 4
    assert ("b", "a") not in list(ordered_pairs(kinds))


def test_every_guide_word_is_tried_at_every_kind_of_step_and_fills_the_worksheet() -> None:
    """The sheet is asked for by people who were not there."""
    cases = word_cases(WORDS, SURVEY, Day(7))
    sheet = worksheet(SURVEY, [("held", "first_out")] * len(cases))

    assert len(cases) == len(sheet) == 2 * len(DEVIATIONS) == len(list(pairings(SURVEY)))
    assert {row["word"] for row in sheet} == set(GUIDE_WORDS)
    assert {row["step"] for row in sheet} == {"park", "pull"}
    assert all(row["noticed by"] == "first_out" for row in sheet)


def test_people_do_everything_out_of_turn_also_twice_and_two_at_one_moment() -> None:
    """What nobody ever does at a bad moment in a campaign is first done at sea."""
    crowds = [draw_crowd(Random(f"crowd {number}"), 5_000, 9_000) for number in range(600)]

    acts = [act for crowd in crowds for act in crowd]
    assert {act.act for act in acts} == set(Act)
    assert {act.by for act in acts} == set(PEOPLE)
    assert all(5_000 <= (act.at_us or 0) <= 9_000 + CROWD_US + TWICE_US for act in acts)
    pairs = [(one, two) for crowd in crowds for one, two in pairwise(crowd)]
    at_once = [(one, two) for one, two in pairs if (two.at_us or 0) - (one.at_us or 0) == TWICE_US]
    assert any(one.act == two.act for one, two in at_once), "nobody presses twice"
    assert any(one.by != two.by for one, two in at_once), "no two people act at once"


def test_people_act_out_of_turn_in_some_cases_and_leave_the_rest_of_a_case_as_it_is() -> None:
    """A campaign with them is compared with one without, case by case."""
    with_people, without = Planner(WORDS, 6), Planner(WORDS, 6, crowd_share=0.0)

    cases = [
        (with_people.plan(number, 7, SURVEY), without.plan(number, 7, SURVEY))
        for number in range(300)
    ]

    assert all(one.causes == other.causes for one, other in cases)
    assert all(one.acts[len(one.acts) - len(other.acts) :] == other.acts for one, other in cases)
    assert 0.1 < sum(one.acts != other.acts for one, other in cases) / len(cases) < 0.3
