"""Campaigns from the command line, as people and scripts see them.

Each runs the real core and the simulated arms; none is told what will be found.
"""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

from coordinator.campaign.batch import Day, Item, found_again, in_order, run_batch, run_survey
from coordinator.campaign.line import Line, Settings, canary_case
from coordinator.campaign.planner import Planner
from coordinator.campaign.running import Outcome, replay_case, run_case
from coordinator.campaign.stage import CANARIES
from coordinator.campaign.store import Row
from coordinator.campaign.strategies import cases
from coordinator.cli.replay import judge_case
from coordinator.core.events import Act as ActName
from coordinator.sequence import Act, Case, CaseCause
from tests.support.campaigns import maker
from tests.support.house import ROOT
from tests.support.sequence_files import SEQUENCES
from tests.support.short_sequence import write_short_sequence

DAY = Day(31)


def bothsides(*words: str, cwd: Path = ROOT, seed: str = "0") -> subprocess.CompletedProcess[str]:
    """Run the program as a script does."""
    return subprocess.run(
        [sys.executable, "-m", "coordinator.cli.app", *words],
        cwd=cwd,
        env={"PYTHONPATH": str(ROOT), "PYTHONHASHSEED": seed, "PATH": ""},
        capture_output=True,
        text=True,
        timeout=250,
        check=False,
    )


def fuzz(path: Path, out: Path, *words: str) -> tuple[int, dict[str, Any]]:
    done = bothsides("fuzz", str(path), "--out", str(out), "--json", *words)
    assert done.stdout, done.stderr
    return done.returncode, json.loads(done.stdout)


def test_a_campaign_is_run_taken_up_again_and_joined_with_another(tmp_path: Path) -> None:
    """What was done is not done again, and two halves make a whole."""
    path = write_short_sequence(tmp_path / "files")
    first, second = tmp_path / "first", tmp_path / "second"

    code, report = fuzz(path, first, "--cases", "40")
    assert (code, report["ok"], report["cases"]) == (0, True, 40)
    code, again = fuzz(path, first, "--cases", "60", "--workers", "2")
    assert (code, again["cases"]) == (0, 60)
    lines = (first / "results.jsonl").read_text(encoding="utf-8").splitlines()
    numbers = [json.loads(line)["number"] for line in lines]
    assert sorted(numbers) == list(range(60))

    code, _ = fuzz(path, second, "--cases", "30", "--seed", "2")
    assert code == 0
    code, joined = fuzz(path, second, "--cases", "30", "--seed", "2", "--merge", str(first))

    assert (code, joined["cases"]) == (0, 90)
    for name in ("report.html", "report.json", "report.junit.xml"):
        assert (second / name).stat().st_size > 500
    totals = json.loads((second / "report.json").read_text())["totals"]
    assert totals["planned"] == totals["not_reached"] + totals["masked"] + totals["detected"]


def test_a_folder_of_another_sequence_is_refused_with_what_to_do(tmp_path: Path) -> None:
    """Exit 2 is bad use; nothing was run."""
    path = write_short_sequence(tmp_path / "files")
    fuzz(path, tmp_path / "out", "--cases", "5")

    code, told = fuzz(SEQUENCES / "makeup_6.yaml", tmp_path / "out", "--cases", "5")

    assert code == 2
    assert "name another folder with --out" in told["error"]


def test_on_a_clean_day_people_release_hold_points() -> None:
    """Whoever replaces a bolt is there to say that the new one is in: nothing is broken by it."""
    found = run_survey(maker("replace_bolt"), DAY)

    assert (found.outcome.ended, found.outcome.violations) == ("complete", ())


@pytest.mark.parametrize("canary", CANARIES)
def test_every_canary_is_reported(canary: str) -> None:
    """Judges that miss what was put in on purpose would miss the rest."""
    survey = run_survey(maker(), DAY)
    case = Planner(maker().words(), 1).plan(1, DAY.seed, survey)
    spoiled = canary_case(canary, case, survey)

    (bad,) = run_batch(maker(), DAY, [Item(1, spoiled, canary=canary)])
    (good,) = run_batch(maker(), DAY, [Item(1, spoiled)])

    assert bad.outcome.violations
    assert good.outcome.violations == ()


def test_what_a_copy_shows_is_what_the_whole_run_shows(tmp_path: Path) -> None:
    """N5: a case found in a copy must be found from the very beginning as well."""
    survey = run_survey(maker(), DAY)
    planner = Planner(maker().words(), 8)
    items = [Item(number, planner.plan(number, DAY.seed, survey)) for number in range(6)]

    for result in run_batch(maker(), DAY, items):
        whole = replay_case(maker().opening(), result.item.case)
        assert (whole.ended, whole.at_us, whole.index) == (
            result.outcome.ended,
            result.outcome.at_us,
            result.outcome.index,
        )
        assert whole.effects == result.outcome.effects


def test_a_batch_in_parts_comes_to_the_same_as_in_one(tmp_path: Path) -> None:
    """A worker keeps the clean day between parts; one that is beyond, or has none, starts anew."""
    survey = run_survey(maker(), DAY)
    planner = Planner(maker().words(), 9)
    items = in_order([Item(number, planner.plan(number, DAY.seed, survey)) for number in range(9)])
    whole = run_batch(maker(), DAY, items)

    parts = [run_batch(maker(), DAY, items[at : at + 3], 1e9, 77) for at in (0, 3, 6)]
    backwards = [run_batch(maker(), DAY, items[at : at + 3], 1e9, 78) for at in (6, 3, 0)]

    outcomes = [one.outcome for one in whole]
    assert [one.outcome for part in parts for one in part] == outcomes
    assert [one.outcome for part in reversed(backwards) for one in part] == outcomes


def test_the_same_cases_are_planned_for_any_number_of_workers() -> None:
    """CA2: also where some were done before, and where another takes half of a batch."""
    survey = run_survey(maker(), DAY)
    done = {5: Row(5, 1, 0, 1, "", False, 0.1, Outcome("went_on"))}

    def planned(width: int) -> dict[int, Case]:
        line = Line(maker(), Settings(seed=3, cases=300), width)
        line.begin({0: survey}, done, frozenset())
        batches = []
        while (batch := line.next_batch()) is not None:
            batches += [batch, batch.halve()]
        items = [item for batch in batches for part in batch.parts for item in part]
        assert len(items) == 299
        return {item.number: item.case for item in items}

    assert planned(1) == planned(2) == planned(7)


def found_case(tmp_path: Path) -> Path:
    """Return a case written down as a campaign does, with what it came to."""
    from coordinator.campaign.case_file import case_text

    at_us = 60_000_000
    causes = (
        CaseCause("duplicate", None, None, at_us, 900_000, None, (("share", 0.3),)),
        CaseCause("person_steps_in", None, None, at_us + 400_000, 3_000_000),
    )
    acts = (
        Act(ActName.RESET, "mate", "held", None, 500_000),
        Act(ActName.RESTART, "mate", "held", None, 700_000),
    )
    item = Item(1, Case("two_causes", "", DAY.seed, causes, (), acts))
    case, _ = found_again(maker(), DAY, item)
    path = tmp_path / "case.yaml"
    path.write_text(case_text(case, maker().words()), encoding="utf-8")
    return path


def test_a_case_replays_to_the_byte_under_another_hash_seed_and_becomes_a_test(
    tmp_path: Path,
) -> None:
    """The same event index and the same trace on any machine; then it guards the program."""
    path = found_case(tmp_path)

    told = [json.loads(bothsides("replay", str(path), "--json", seed=s).stdout) for s in "19"]
    assert told[0] == told[1]
    assert told[0]["ok"]
    assert told[0]["differs"] == []

    made = bothsides("replay", str(path), "--to-test", str(tmp_path / "kept"), "--json")
    assert made.returncode == 0
    kept = tmp_path / "kept" / "case.yaml"
    assert (tmp_path / "kept" / "test_cases_of_campaigns.py").exists()
    assert judge_case(kept).violations == ()


def test_a_case_that_comes_to_something_else_says_in_what(tmp_path: Path) -> None:
    """A changed file is no mystery."""
    path = found_case(tmp_path)
    text = path.read_text(encoding="utf-8")
    assert "share: 0.3" in text
    path.write_text(text.replace("share: 0.3", "share: 0.9"), encoding="utf-8")

    done = bothsides("replay", str(path), "--json")

    assert done.returncode == 1
    assert any("trace: was" in line for line in json.loads(done.stdout)["differs"])


@settings(
    max_examples=8,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(case=cases(maker().words(), seed=31, between_us=(1_000_000, 40_000_000)))
def test_a_users_own_test_can_draw_cases_and_every_promise_holds(case: Case) -> None:
    """Hypothesis draws, the judge judges; what it finds it makes small by itself."""
    stage = maker().opening()(case.seed)
    stage.take(case)

    outcome: Outcome = run_case(stage, case)

    assert outcome.violations == ()
    assert outcome.ended in ("went_on", "held", "stopped", "aborted", "complete")
