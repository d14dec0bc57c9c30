"""What is proved of every order of events holds in every run that the simulated cell makes.

The runs are judged by what the arms went through; that shares no code with the relation of steps.
"""

import random
from dataclasses import dataclass
from functools import cache
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from coordinator.core.events import Act as ActName
from coordinator.core.plan import Option
from coordinator.prove.concurrency import Concurrency, Spot, concurrency
from coordinator.rehearse.apart import WITHIN_M, Clearance, clearance_of, lines_apart_m
from coordinator.rehearse.rehearsal import Rehearsal, rehearse
from coordinator.rehearse.simulated import Simulation
from coordinator.rehearse.stances import Reach, Stretch, reach_of
from coordinator.sequence import Case, CaseCause, Loaded, load
from coordinator.sequence.cases.case import Act, Answer
from sim_arms.activities import Bench
from sim_arms.clearance import arm_parts, least_clearance, slim_m
from sim_arms.physics.volumes import Rod, rods_gap_m
from sim_arms.physics.volumes import lines_apart_m as one_line_apart_m
from tests.support.sequence_files import SEQUENCES, write_sequence
from tests.support.spots import SpotsSeen

RUNS = 8
TOLERANCE_M = 1e-6


@dataclass(frozen=True, slots=True)
class Judged:
    """A sequence with what is known of it over every order of events."""

    loaded: Loaded
    together: Concurrency
    reaches: tuple[Reach, ...]
    clearance: Clearance


@cache
def judged(name: str) -> Judged:
    """Load a shipped sequence and look at every order of its events."""
    return judge(load(SEQUENCES / f"{name}.yaml"))


def judge(loaded: Loaded) -> Judged:
    """Look at every order of events of a sequence."""
    plan = loaded.plan
    first, second = (lane for lane, party in enumerate(plan.parties) if party.is_arm)
    together, steel = concurrency(plan, (first, second)), Simulation(loaded, 0).steel()
    reaches = tuple(
        reach_of(plan, together, lane, steel.chains[plan.parties[lane].name], steel.layout)
        for lane in (first, second)
    )
    return Judged(loaded, together, reaches, clearance_of(loaded, 0.0))


def disturbed(seed: int, end_s: float, bolts: int) -> Case:
    """Draw a case: held again and again at any moment, a person inside, sockets that miss."""
    dice = random.Random(seed)
    acts = [Act(ActName.HOLD, "mate", at_us=int(dice.uniform(5.0, end_s) * 1e6)) for _ in range(6)]
    acts += [
        Act(act, "mate", when="held", after_us=wait_us)
        for act, wait_us in ((ActName.RESET, 25_000_000), (ActName.RESTART, 30_000_000))
        for _ in range(40)
    ]
    causes = [
        CaseCause("person_steps_in", at_us=int(dice.uniform(5.0, end_s) * 1e6), for_us=15_000_000),
        CaseCause(
            "burr", bolt=dice.randint(1, bolts), parameters=(("corner", -1.0), ("height", 2e-3))
        ),
        CaseCause("slow_arm", side=dice.choice(("fore", "aft")), parameters=(("factor", 3.0),)),
    ]
    answers = tuple(
        Answer(prompt, Option.AGAIN, "mate", 3_000_000)
        for prompt in (
            "socket_stuck",
            "thread_trouble",
            "torque_trouble",
            "bolt_seized",
            "arm_refuses",
        )
        for _ in range(5)
    )
    return Case("disturbed", seed=seed, causes=tuple(causes), acts=tuple(acts), answers=answers)


def run(of: Judged, seed: int) -> tuple[Rehearsal, SpotsSeen]:
    """Rehearse a disturbed run and follow it."""
    end_s = 300.0 if of.loaded.begins != "joint_open" else 900.0
    spots = SpotsSeen(of.loaded.plan)
    case = disturbed(seed, end_s, of.loaded.joint.bolt_count)
    return rehearse(of.loaded, seed=seed, case=case, listeners=(spots,)), spots


def stretches_at(reach: Reach, step: int, before: int) -> frozenset[Stretch]:
    """Return all that an arm may sweep at a step, done or not."""
    return reach.stretches.get(Spot(step, before, is_done=False), frozenset()) | (
        reach.stretches.get(Spot(step, before, is_done=True), frozenset())
    )


@pytest.mark.parametrize("name", ["makeup_8", "breakout_6", "replace_bolt"])
def test_no_run_goes_where_the_relation_of_steps_does_not_lead(name: str) -> None:
    """CL1, CL2, CL3: steps together, every leg of every way, and the least gap of each run."""
    of = judged(name)
    known = {(a[:2], b[:2]) for a, b in of.together.pairs}
    legs = gaps = 0
    for seed in range(RUNS):
        result, spots = run(of, seed)

        assert spots.pairs <= known
        for bench, lane, reach in zip(result.arms, spots.arms, of.reaches, strict=True):
            legs += assert_swept(bench, lane, reach, spots)
        assert result.hoist is not None
        gap = least_clearance(result.arms, result.hoist, result.time_us / 1e6)[0]
        assert gap.gap_m >= of.clearance.least.gap_m - WITHIN_M - TOLERANCE_M
        gaps += 1
    assert (legs > 200, gaps) == (True, RUNS)


def assert_swept(bench: Bench, lane: int, reach: Reach, spots: SpotsSeen) -> int:
    """Assert that every leg an arm went is a stretch of what it had begun; return how many."""
    seen = 0
    for motion in bench.motions:
        stretches = stretches_at(reach, *spots.at(lane, motion.start_s * 1e6))
        begins_s = motion.start_s
        for leg in motion.way.legs:
            ends = min(leg.start, leg.end), max(leg.start, leg.end)
            if begins_s < motion.end_s and leg.start != leg.end:
                is_down = was_lowered(bench, begins_s + 1e-6)
                swept = [one for one in stretches if (one.start, one.end) == ends]
                assert any(one.is_lowered or not is_down for one in swept), (lane, ends, is_down)
                seen += 1
            begins_s += leg.duration_s
    return seen


def was_lowered(bench: Bench, at_s: float) -> bool:
    """Return whether a tool was down, by what the bench noted."""
    noted = sorted((time_s, is_down) for time_s, is_down in bench.lowered if time_s <= at_s)
    return bool(noted) and noted[-1][1]


@pytest.mark.parametrize("name", ["makeup_6", "makeup_8", "breakout_8"])
def test_a_search_by_chance_finds_nothing_nearer_than_what_is_told(name: str) -> None:
    """CL3: poses drawn from what can be swept together, measured one by one without numpy."""
    of, dice = judged(name), random.Random(3)
    steel = Simulation(of.loaded, 0).steel()
    chains = [steel.chains[side] for side in steel.config.sides]
    pairs, wide_m = sorted(of.together.pairs), slim_m(steel.config)
    least_m = 9.0
    for _ in range(6_000):
        rods = []
        one, other = (
            dice.choice(sorted(reach.stretches[spot]))
            for reach, spot in zip(of.reaches, dice.choice(pairs), strict=True)
        )
        if one.zone >= 0 and one.zone == other.zone:
            continue
        for stretch, chain in zip((one, other), chains, strict=True):
            knots = chain.knots(stretch.start, stretch.end)
            index, share = dice.randrange(len(knots) - 1), dice.random()
            angles = [a + share * (b - a) for a, b in zip(*knots[index : index + 2], strict=True)]
            parts = arm_parts(chain, angles, wide_m, is_lowered=stretch.is_lowered)
            rods.append([Rod.between(*part) for part in parts])
        least_m = min(least_m, *(rods_gap_m(a, b) for a, b in product(*rods)))

    told_m = of.clearance.least.gap_m
    assert told_m - WITHIN_M - TOLERANCE_M <= least_m
    assert least_m < told_m + 0.2  # It searches where it is near.


COVERS = """
barriers:
  tools_on: {timeout: 5 min}
  one_after_the_other: {timeout: 5 min}
lanes:
  fore:
    - do: change_tool
      with: {tool: gripper}
    - barrier: tools_on
    - do: fit_cover
    - do: take_cover
    - barrier: one_after_the_other
  aft:
    - do: change_tool
      with: {tool: gripper}
    - barrier: tools_on
    - barrier: one_after_the_other
    - do: fit_cover
    - do: take_cover
"""
IN_ANY_ORDER = COVERS.replace(
    "    - barrier: one_after_the_other\n    - do: fit", "    - do: fit"
) + ("    - barrier: one_after_the_other\n")


@pytest.mark.parametrize(
    ("body", "zone", "touch"),
    [(COVERS, False, False), (IN_ANY_ORDER, True, False), (IN_ANY_ORDER, False, True)],
    ids=["a barrier parts them", "a zone parts them", "nothing parts them"],
)
def test_two_arms_at_one_bore_are_found_unless_something_parts_them(
    body: str, zone: bool, touch: bool, tmp_path: Path
) -> None:
    """CL3: planted: no rehearsal need come to it; a barrier or a zone parts them."""
    path = write_sequence(tmp_path, body)
    if not zone:
        cell = tmp_path / "cells" / "sill_point.yaml"
        cell.write_text(cell.read_text().replace("needs: gripper, zone: bore,", "needs: gripper,"))

    found = clearance_of(load(path), 0.05)

    assert (found.least.gap_m < 0.0) is touch
    assert bool(found.below) is touch


def test_lines_apart_agree_with_one_line_after_the_other() -> None:
    """Drawn lines, some without length, some side by side; against the arms' own arithmetic."""
    dice = np.random.default_rng(5)
    ends = dice.uniform(-1.0, 1.0, (4, 400, 3))
    ends[1, :40] = ends[0, :40]
    ends[3, 20:60] = ends[2, 20:60]
    ends[3, 60:90] = ends[2, 60:90] + (ends[1, 60:90] - ends[0, 60:90]) * 0.7

    found = lines_apart_m(*ends)

    points = [[tuple(map(float, one)) for one in rows] for rows in ends]
    each = [one_line_apart_m(a, b, c, d) for a, b, c, d in zip(*points, strict=True)]
    assert found == pytest.approx(each, abs=1e-7)
