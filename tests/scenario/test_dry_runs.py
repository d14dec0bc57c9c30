"""Whole dry runs, judged from the messages on the bus alone."""

import json
import subprocess
import sys
from collections import defaultdict
from pathlib import Path
from typing import Any

import pytest

from coordinator.cli.dryrun import record_rows
from coordinator.records.acceptance import open_points, wanted_proofs
from coordinator.rehearse.rehearsal import Rehearsal, rehearse
from coordinator.rehearse.simulated import BOLT_CATALOGUE
from coordinator.sequence import Loaded, load, read_case

SEQUENCES = Path(__file__).parents[2] / "sequences"
MAKEUP, BREAKOUT = SEQUENCES / "makeup_8.yaml", SEQUENCES / "breakout_8.yaml"
ARMS = ("fore", "aft")


def go(path: Path, case: str = "", seed: int = 1) -> tuple[Loaded, Rehearsal, list[dict[str, Any]]]:
    """Rehearse a sequence and return the deliveries as plain data."""
    loaded = load(path)
    lines: list[str] = []
    given = read_case(SEQUENCES / "cases" / f"{case}.yaml", BOLT_CATALOGUE) if case else None
    result = rehearse(loaded, seed=seed, case=given, write_line=lines.append)
    return loaded, result, [json.loads(line) for line in lines]


def kinds(deliveries: list[dict[str, Any]], *names: str) -> list[dict[str, Any]]:
    """Return the deliveries of these body types."""
    wanted = {f"org.bothsides.{name.lower()}" for name in names}
    return [one for one in deliveries if one["type"] in wanted]


def faults_of(result: Rehearsal) -> list[str]:
    return [one.text for _, one in result.notices if one.kind == "fault"]


@pytest.mark.parametrize("seed", range(1, 9))
def test_a_make_up_without_causes_is_complete_and_accepted(seed: int) -> None:
    """Scatter alone must never spoil a joint."""
    loaded, result, _ = go(MAKEUP, seed=seed)

    assert (result.phase, open_points(record_rows(loaded, result), wanted_proofs(loaded.plan))) == (
        "complete",
        [],
    )
    assert len(wanted_proofs(loaded.plan)) == 8 + 3 * 8 * 2 + 8


def test_a_break_out_without_causes_is_complete_and_accepted() -> None:
    """The twin of the make-up runs on the same core and language."""
    loaded, result, _ = go(BREAKOUT)

    assert result.phase == "complete"
    assert open_points(record_rows(loaded, result), wanted_proofs(loaded.plan)) == []


@pytest.mark.parametrize("count", [6, 12, 16, 20])
@pytest.mark.parametrize("kind", ["makeup", "breakout"])
def test_every_shipped_joint_is_made_up_and_broken_out(kind: str, count: int) -> None:
    """One pair of sequences serves inch and metric joints of every number of bolts."""
    loaded, result, _ = go(SEQUENCES / f"{kind}_{count}.yaml", seed=count)
    wanted = wanted_proofs(loaded.plan)

    assert result.phase == "complete", result.reason
    assert open_points(record_rows(loaded, result), wanted) == []
    per_bolt = 1 + 3 * 2 + 1 if kind == "makeup" else 2
    assert len(wanted) == count * per_bolt


def test_opposite_bolts_are_released_together_with_one_start_time() -> None:
    """Section 6.1: one release carries one start time, and pulls go to bolts b and b + 4."""
    _, _, deliveries = go(MAKEUP)
    pulls = {
        (one["subject"], one["data"]["command"]): one["data"]["parameters"]["bolt"]
        for one in kinds(deliveries, "Do")
        if one["data"]["action"] == "pull"
    }
    starts: dict[int, list[int]] = defaultdict(list)
    for one in kinds(deliveries, "Release"):
        key = (one["subject"], one["data"]["command"])
        if key in pulls:
            starts[one["data"]["start_us"]].append(pulls[key])

    assert len(starts) == 12
    assert all(len(bolts) == 2 for bolts in starts.values())
    assert all(abs(bolts[0] - bolts[1]) == 4 for bolts in starts.values())


def test_the_order_of_pairs_is_the_published_one() -> None:
    """MIL-HDBK-60 5.7: opposite bolts together, next the pair 90° away, then between."""
    _, _, deliveries = go(MAKEUP)
    fore = [
        one["data"]["parameters"]["bolt"]
        for one in kinds(deliveries, "Do")
        if one["data"]["action"] == "pull" and one["subject"] == "fore"
    ]

    assert fore == [1, 3, 2, 4] * 3


@pytest.mark.parametrize(
    ("case", "expected"),
    [
        ("hex_angle_wrong_bolt_2", ["pick bolt 2: socket_not_seated"]),
        (
            "burr_on_bolt_3",
            # In the check the socket comes from where it left bolt 2, onto the burr again.
            [
                "pick bolt 3: socket_not_seated",
                "seat wrench bolt 3 round 1: socket_not_seated",
                "seat wrench bolt 3: socket_not_seated",
            ],
        ),
        ("bolt_misplaced_6", ["run up bolt 6: thread_stalled"]),
    ],
)
def test_a_missed_socket_or_a_stalled_thread_is_recovered(case: str, expected: list[str]) -> None:
    """Causes, not outcomes: the fault shows, the recovery cures it, the joint is accepted."""
    loaded, result, _ = go(MAKEUP, case)

    assert result.phase == "complete"
    assert faults_of(result) == expected
    assert open_points(record_rows(loaded, result), wanted_proofs(loaded.plan)) == []


def test_a_stalled_thread_is_backed_off_lifted_located_and_started_again() -> None:
    """The recovery is made of real moves, in the written order."""
    _, _, deliveries = go(MAKEUP, "bolt_misplaced_6")
    aft = [one["data"] for one in kinds(deliveries, "Do") if one["subject"] == "aft"]
    stalled = next(i for i, one in enumerate(aft) if one["action"] == "back_off")

    actions = [one["action"] for one in aft[stalled - 1 : stalled + 5]]
    assert actions == ["run_up", "back_off", "lift", "locate_hole", "place_bolt", "run_up"]


def test_exhausted_attempts_ask_a_person_while_the_other_side_waits() -> None:
    """Three tries by itself, one more by the mate's answer, then the abort that he chose."""
    _, result, deliveries = go(MAKEUP, "thread_stalls_for_good")
    runs = [
        one
        for one in kinds(deliveries, "Do")
        if one["data"]["action"] == "run_up" and one["data"]["parameters"]["bolt"] == 6
    ]

    assert result.phase == "aborted"
    assert len(runs) == 4
    assert sum(one.kind == "prompt" for _, one in result.notices) == 2


def test_no_motion_command_leaves_from_the_alarm_to_the_restart() -> None:
    """A person on the floor holds both arms; leaving and resetting move nothing."""
    _, result, deliveries = go(MAKEUP, "person_steps_in")
    at = {one.kind: at_us for at_us, one in result.notices if one.kind in ("first_out", "restart")}
    between = [one for one in deliveries if at["first_out"] < one["sent_us"] < at["restart"]]

    assert kinds(between, "Do", "Release") == []
    held = {one["from"] for one in kinds(between, "Held")}
    assert held == {*ARMS, "hoist"}
    assert result.phase == "complete"


@pytest.mark.parametrize("seed", range(20, 23))
@pytest.mark.parametrize("at_s", [30, 115, 170, 245, 500, 1010, 1333])
def test_a_person_stepping_in_at_any_moment_ends_in_a_joint_all_the_same(
    tmp_path: Path, at_s: int, seed: int
) -> None:
    """Held at whatever step, reset and restarted by a person, the make-up still completes."""
    case = tmp_path / "case.yaml"
    case.write_text(
        "case: step_in\n"
        f"causes:\n  - {{cause: person_steps_in, at: {at_s} s, for: 5 s}}\n"
        "acts:\n"
        "  - {act: reset, when: held, after: 10 s, by: mate}\n"
        "  - {act: restart, when: held, after: 12 s, by: mate}\n"
    )
    loaded = load(MAKEUP)

    result = rehearse(loaded, seed=seed, case=read_case(case, BOLT_CATALOGUE))

    assert result.phase == "complete", result.reason
    assert sum(one.kind == "held" for _, one in result.notices) == 1
    assert open_points(record_rows(loaded, result), wanted_proofs(loaded.plan)) == []


def test_a_low_supply_keeps_the_pair_together_and_is_never_pulled_alone() -> None:
    """The band is left, both go back; without an answer the run is held, not forced."""
    _, result, deliveries = go(MAKEUP, "low_supply_aft")
    pulls: dict[str, list[int]] = defaultdict(list)
    for one in kinds(deliveries, "Do"):
        if one["data"]["action"] == "pull":
            pulls[one["subject"]].append(one["data"]["parameters"]["bolt"])

    assert result.phase == "held"
    assert [bolt + 4 for bolt in pulls["fore"]] == pulls["aft"]


def test_two_runs_of_one_seed_give_the_same_bytes_under_other_hash_seeds() -> None:
    """Determinism: nothing may lean on the order of a set or of a hash."""
    digests = set()
    for hash_seed in ("0", "4711"):
        done = subprocess.run(
            [sys.executable, "-m", "coordinator.cli.app", "dryrun", str(MAKEUP), "--json"],
            env={"PYTHONHASHSEED": hash_seed, "PATH": "", "PYTHONPATH": str(SEQUENCES.parent)},
            capture_output=True,
            check=True,
        )
        digests.add(json.loads(done.stdout)["trace_sha256"])

    assert len(digests) == 1
