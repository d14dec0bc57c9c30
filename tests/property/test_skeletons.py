"""Deadlock at barriers: proof and rule agree with a graph library, on drawn and shipped plans."""

from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, event, given, settings

from coordinator.prove import Limits, explore
from coordinator.sequence import load
from tests.support.examples import times
from tests.support.sequence_files import SEQUENCES, codes_of, write_sequence
from tests.support.skeletons import Skeleton, is_stuck, lanes_of, plan_of, skeletons

SHIPPED = sorted(path.stem for path in SEQUENCES.glob("*.yaml"))


@given(skeletons())
@settings(max_examples=times(60), deadline=None)
def test_the_proof_finds_a_deadlock_exactly_where_barriers_wait_in_a_ring(
    skeleton: Skeleton,
) -> None:
    """The graph knows neither core nor proof."""
    plan = plan_of(skeleton)
    event(f"stuck: {is_stuck(plan)}")

    broken = [one.property for one in explore(plan, Limits(0)).violations]

    assert ("no_deadlock" in broken) is is_stuck(plan)
    assert ("way_to_complete" in broken) is is_stuck(plan)


@given(skeletons())
@settings(max_examples=times(40), deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_the_rule_about_rings_agrees_with_the_graph(skeleton: Skeleton) -> None:
    """SQ10: An author is told before anything is proved."""
    with TemporaryDirectory() as folder:
        codes = codes_of(write_sequence(Path(folder), lanes_of(skeleton)))

    assert codes == (["SEQ037"] if is_stuck(plan_of(skeleton)) else [])


@pytest.mark.parametrize("name", SHIPPED)
def test_no_shipped_sequence_waits_in_a_ring(name: str) -> None:
    """What is proved complete must have an order in which everything can be passed."""
    assert not is_stuck(load(SEQUENCES / f"{name}.yaml").plan)


def test_the_broken_sample_of_a_ring_is_one_to_the_graph_too() -> None:
    """Its two lanes come to the same two barriers in opposite orders."""
    text = (SEQUENCES / "broken" / "SEQ037_barriers_in_a_ring.yaml").read_text(encoding="utf-8")
    sides = text.split("lanes:\n", 1)[1].split("\n  aft:")
    order = tuple(
        tuple(line.split(": ")[1] for line in side.splitlines() if "- barrier:" in line)
        for side in sides
    )
    names = dict(zip(dict.fromkeys(order[0]), ("one", "two", "three", "four"), strict=False))

    assert is_stuck(plan_of(tuple(tuple(names[one] for one in lane) for lane in order)))
