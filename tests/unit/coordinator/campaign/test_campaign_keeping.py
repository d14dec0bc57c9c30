"""Case files, shrinking, the folder and the reports of a campaign."""

from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

from coordinator.campaign.batch import Item, Result
from coordinator.campaign.campaigning import Sample, Tally
from coordinator.campaign.case_file import as_regression, case_text
from coordinator.campaign.judge import Violation
from coordinator.campaign.planner import Planner
from coordinator.campaign.report import document, health, matrix, spread, totals
from coordinator.campaign.report_html import page
from coordinator.campaign.report_junit import junit
from coordinator.campaign.running import Effect, Outcome, Place
from coordinator.campaign.shrink import Shrinking, shrink, shrink_on
from coordinator.campaign.store import Folder, Head, Kept, OtherCampaign, Row, SpoiltLine, to_row
from coordinator.rehearse.simulated import BOLT_CATALOGUE, PLACED
from coordinator.sequence import Case, CaseCause, Found, read_case
from tests.support.campaigns import WORDS, maker
from tests.unit.coordinator.campaign.test_campaign_planner import SURVEY

HEAD = Head("makeup_8.yaml", "d1", "p1", 1)
BROKEN = Violation("S1", "release", 5, "a span closes")


def outcome(*acted: bool, ended: str = "went_on", broken: bool = False) -> Outcome:
    """Return an outcome with a cause for each flag, every other of them noticed."""
    effects = tuple(
        Effect("loss", Place("pull", "begins"), one, "silent" if index % 2 else "", 250_000)
        for index, one in enumerate(acted)
    )
    return Outcome(ended, violations=(BROKEN,) if broken else (), effects=effects)


def row(number: int, result: Outcome, *, canary: str = "", seed: int = 1) -> Row:
    return Row(number, seed, 0, len(result.effects), canary, False, 0.01, result)


def test_every_planned_case_reads_back_from_its_file_as_it_was(tmp_path: Path) -> None:
    """CA4: times to the microsecond, parameters to the last digit."""
    words = maker().words()
    planner = Planner(words, 9)
    path = tmp_path / "case.yaml"
    for number in range(40):
        case = replace(planner.plan(number, 7, SURVEY), found=Found("a.yaml", (("a.yaml", "b\n"),)))
        path.write_text(case_text(case, words), encoding="utf-8")

        read = read_case(path, BOLT_CATALOGUE, placed=PLACED)

        assert replace(read, digest="") == case


def test_a_case_as_a_regression_expects_nothing_but_that_it_goes_well() -> None:
    """The hash of a trace would break with every change of the program."""
    found = Found("a.yaml", (("a.yaml", "x"),), "d", "p", 1.3, True, "held", ("S1",), 5, 6, "t")

    kept = as_regression(Case("x", found=found)).found

    assert kept == Found("a.yaml", (("a.yaml", "x"),), "d", "", 1.3, True)


def test_shrinking_leaves_the_one_cause_that_matters_as_short_as_it_may_be() -> None:
    """Three of four causes are there by chance."""
    causes = tuple(
        CaseCause(name, None, None, at_us, 4_000_000, None, (("share", 0.3),))
        for name, at_us in (("duplicate", 10), ("loss", 20), ("delay", 900_000), ("reorder", 30))
    )

    def attempt(case: Case) -> Outcome:
        guilty = [
            one for one in case.causes if one.cause == "delay" and (one.for_us or 0) >= 300_000
        ]
        return Outcome("running", violations=(BROKEN,) if guilty else ())

    small, tries = shrink(Case("x", causes=causes), attempt, BROKEN.signature)

    assert [one.cause for one in small.causes] == ["delay"]
    assert 300_000 <= (small.causes[0].for_us or 0) < 600_000
    assert small.causes[0].parameters == ()
    assert tries < 40
    state = Shrinking(Case("x", causes=causes), BROKEN.signature)
    while not state.is_done:
        state = shrink_on(state, attempt, 3)
    assert (state.case, state.tries) == (small, tries)


def test_shrinking_keeps_a_cause_that_another_failure_would_do_without() -> None:
    """The signature stays: a different failure is a different case."""
    causes = (
        CaseCause("loss", at_us=10, for_us=40_000),
        CaseCause("delay", at_us=20, for_us=40_000),
    )

    def attempt(case: Case) -> Outcome:
        code = "S1" if len(case.causes) == 2 else "I1"
        return Outcome("running", violations=(replace(BROKEN, code=code),))

    small, _ = shrink(Case("x", causes=causes), attempt, "S1 at release")

    assert len(small.causes) == 2


def test_what_was_kept_is_there_again_and_a_torn_line_is_not(tmp_path: Path) -> None:
    """CA6: A campaign is stopped in the middle of a line as well."""
    folder = Folder(tmp_path)
    assert folder.begin(HEAD) == []
    rows = [row(1, outcome(True, False)), row(2, outcome(True, broken=True))]
    folder.add(rows)
    with (tmp_path / "results.jsonl").open("a", encoding="utf-8") as file:
        file.write('{"number":3,"se')

    assert Folder(tmp_path).begin(HEAD) == rows

    folder.repair()
    folder.add([row(4, outcome())])
    assert [one.number for one in folder.rows()] == [1, 2, 4]


def test_a_case_counts_once_whatever_the_lines_say(tmp_path: Path) -> None:
    """CA8: two programs that once wrote into one folder would double every count."""
    folder = Folder(tmp_path)
    folder.begin(HEAD)
    folder.add([row(1, outcome(True)), row(2, outcome()), row(1, outcome(False))])
    folder.add([row(1, outcome(True), seed=2)])

    assert [(one.seed, one.number) for one in folder.rows()] == [(1, 1), (1, 2), (2, 1)]


@pytest.mark.parametrize(
    ("line", "column", "what"),
    [
        ('{"number": 3, "seed"}', 21, "it is no JSON"),
        ("\xff", 1, "it is no JSON"),
        ("[1]", 1, "it is no table of names and values"),
        ('{"number": 3}', 1, "'seed' is missing"),
    ],
)
def test_a_spoilt_line_is_named_with_what_to_do(
    tmp_path: Path, line: str, column: int, what: str
) -> None:
    """A night's work is not lost over one line."""
    folder = Folder(tmp_path)
    folder.begin(HEAD)
    folder.add([row(1, outcome(True))])
    place = tmp_path / "results.jsonl"
    with place.open("ab") as file:
        file.write(line.encode("latin-1") + b"\n")

    with pytest.raises(SpoiltLine) as caught:
        list(folder.rows())

    assert str(caught.value).startswith(f"{place}:2:{column}: the line is no result")
    assert what in str(caught.value)
    assert "delete the line" in str(caught.value)


def test_a_folder_in_which_a_campaign_runs_is_refused_to_another(tmp_path: Path) -> None:
    """Two at a time would run every case twice; the lock goes with whoever has it."""
    with Folder(tmp_path).locked():  # noqa: SIM117 (the second is tried inside the first)
        with pytest.raises(OtherCampaign, match="another campaign is running in this folder"):
            with Folder(tmp_path).locked():
                pass
    with Folder(tmp_path).locked():
        pass


def test_failing_cases_of_two_campaigns_are_kept_side_by_side(tmp_path: Path) -> None:
    """The same number under another seed is another case, and neither takes the other's place."""
    ours, theirs = Folder(tmp_path / "ours"), Folder(tmp_path / "theirs")
    for folder, seed in ((ours, 1), (theirs, 2)):
        folder.begin(replace(HEAD, seed=seed))
        text = f"case: case_7\nseed: {seed}000\n"
        (folder.failures / "s1_case_7.yaml").write_text(text, encoding="utf-8")

    ours.take_failures(theirs)
    ours.take_failures(theirs)

    assert [(one.seed, one.number, one.place.name) for one in ours.kept()] == [
        (1, 7, "s1_case_7.yaml"),
        (2, 7, "s1_case_7_seed_2.yaml"),
    ]


@pytest.mark.parametrize("change", ["digest", "program", "seed"])
def test_a_folder_of_another_campaign_is_refused_by_what_differs(
    tmp_path: Path, change: str
) -> None:
    """CA7: results of other files would be counted as ours."""
    Folder(tmp_path).begin(HEAD)
    other = replace(HEAD, **{change: 2 if change == "seed" else "other"})  # type: ignore[arg-type]  # by name

    with pytest.raises(OtherCampaign, match=f"{change} is '"):
        Folder(tmp_path).begin(other)


def test_the_matrix_sums_up_to_what_was_set() -> None:
    """CA5: nothing is counted twice, nothing is lost, canaries are left out."""
    rows = [
        row(1, outcome(True, True, False)),
        row(2, outcome(False, ended="held")),
        row(3, outcome(True), canary="moves_unclear"),
    ]

    cells = matrix(rows)
    summed = totals(cells)

    assert summed["planned"] == 4 == sum(len(one.outcome.effects) for one in rows[:2])
    assert summed["not_reached"] + summed["masked"] + summed["detected"] == summed["planned"]
    assert (summed["not_reached"], summed["masked"], summed["detected"]) == (2, 1, 1)
    (only,) = cells.values()
    assert sum(only.ended.values()) == only.planned


def test_a_spread_is_that_of_the_values() -> None:
    """A median of two is the lower one; of nothing there is none."""
    assert spread([]) == {}
    assert spread([3.0, 1.0, 2.0]) == {"least": 1.0, "median": 2.0, "p90": 3.0, "most": 3.0}


def test_a_campaign_that_finds_nothing_new_any_more_stands_on_a_plateau() -> None:
    """Whoever pays for the machines wants to know."""
    rising = [Sample(float(i), 100 * i, 50 * i) for i in range(9)]
    flat = [Sample(float(i), 100 * i, min(200, 100 * i)) for i in range(9)]

    assert health(rising)["plateau"] is False
    assert health(flat)["plateau"] is True
    assert health(rising)["rate_per_s"] == 100.0


def test_figures_that_need_times_which_nobody_kept_are_not_known() -> None:
    """A finished campaign that is run again has run nothing, and took no time for it."""
    before = [Sample(None, 50 * i, 10 * i) for i in range(9)]
    ran_nothing = [*before, Sample(0.0, 400, 80), Sample(0.5, 400, 80)]
    went_on = [*before, Sample(0.0, 400, 80), Sample(2.0, 420, 90)]
    mostly_new = [*before[:2], Sample(0.0, 50, 10), Sample(5.0, 150, 20), Sample(10.0, 200, 40)]
    nothing = {"rate_per_s": None, "new_per_min": None, "plateau": None}

    assert health([]) == nothing
    assert health(ran_nothing) == {**nothing, "plateau": False}
    assert health(went_on) == {"rate_per_s": 10.0, "new_per_min": None, "plateau": False}
    assert health(mostly_new) == {"rate_per_s": 15.0, "new_per_min": 240.0, "plateau": False}


def test_the_page_says_what_is_not_known_and_what_was_left_out() -> None:
    """Figures that do not add up are asked about by everybody who reads them."""
    tally = filled()
    tally.samples = [Sample(None, 0, 0), Sample(None, 4, 9), Sample(0.0, 4, 9)]

    html = page(document(tally, [], []), tally.samples, "a.yaml")

    assert "<th>rate</th><td>not known</td>" in html
    assert "<th>new</th><td>not known</td>" in html
    assert "went_on 2: 2 cases, without the 2 canaries" in html
    assert "<polyline" in html


def filled() -> Tally:
    tally = Tally(surveys={0: SURVEY}, samples=[Sample(0.0, 0, 0), Sample(1.0, 4, 9)])
    for one in (
        row(1, outcome(True, True)),
        row(2, outcome(True, broken=True)),
        row(3, outcome(True, broken=True), canary="moves_unclear"),
        row(5, outcome(False), canary="releases_one"),
    ):
        tally.add(one)
    return tally


def test_a_missed_canary_fails_the_campaign_and_a_reported_one_is_no_failure() -> None:
    """CA3: A judge who sleeps through a defect put in on purpose sees nothing else either."""
    tally = filled()

    assert tally.failed == {"S1 at release": 1}
    assert (tally.canaries[True], tally.canaries[False]) == (1, 1)
    assert not tally.is_good
    quiet = Tally()
    quiet.add(row(1, outcome(True), canary="releases_one"))
    assert not quiet.is_good
    good = Tally()
    good.add(row(1, outcome(True)))
    assert good.is_good


def test_a_campaign_that_ran_nothing_is_not_good() -> None:
    """Nothing was found wrong because nothing was looked at."""
    assert not Tally().is_good
    only_canaries = Tally()
    only_canaries.add(row(1, outcome(True, broken=True), canary="releases_one"))
    assert not only_canaries.is_good


def test_the_reports_say_what_was_broken_with_seed_and_attempts() -> None:
    """A build server reads the one, people the other."""
    tally = filled()
    kinds = [kind.name for kind in WORDS.kinds]

    report = document(tally, [("loss", "pull", "begins")], kinds)
    html = page(report, tally.samples, "a<b>.yaml")
    suite = ElementTree.fromstring(junit(tally, "a.yaml", 77))

    assert report["failed"] == {"S1 at release": 1}
    assert report["coverage"]["cells"] == [1, 1]
    assert "a&lt;b&gt;.yaml" in html
    assert "a<b>" not in html
    assert "http" not in html.replace("http://www.w3.org", "")
    failures = [
        one.get("name", "") for one in suite.iter("testcase") if one.find("failure") is not None
    ]
    assert [name.split(" ")[0] for name in failures] == ["S1", "canaries"]
    values = {one.get("name"): one.get("value") for one in suite.iter("property")}
    assert values == {"seed": "77", "attempts": "4"}
    assert suite.get("failures") == "2"


def test_the_reports_name_the_files_of_failing_cases(tmp_path: Path) -> None:
    """A number without a file can be run again by nobody."""
    tally = filled()
    kept = [Kept(1, 2, tmp_path / "failures" / "s1_case_2.yaml")]

    report = document(tally, [], [], kept)

    assert report["kept"] == {"S1 at release": ["failures/s1_case_2.yaml"]}
    assert "failures/s1_case_2.yaml" in page(report, tally.samples, "a.yaml")
    text = f"case 2 of seed 1: a span closes (bothsides replay {kept[0].place})"
    assert text in junit(tally, "a.yaml", 1, kept)


def test_a_row_holds_what_a_result_says() -> None:
    """What is kept is all that a report has later on."""
    item = Item(7, Case("x", causes=(CaseCause("loss"),)), is_whole=True)

    kept = to_row(Result(item, outcome(True), 0.1234567), 3, 2)

    assert kept == Row(7, 3, 2, 1, "", True, 0.12346, outcome(True))
