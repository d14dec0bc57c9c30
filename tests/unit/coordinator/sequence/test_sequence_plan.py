"""The shipped sequences as plans: order, pairs, spans, rules, names."""

from functools import cache
from hashlib import sha256
from pathlib import Path
from time import process_time

import pytest

from coordinator.core.plan import Exhausted, Move, Node, NodeKind, Plan
from coordinator.sequence import Loaded, load
from tests.support.sequence_files import SEQUENCES, write_sequence

SHIPPED = ("makeup_8", "breakout_8")


@cache
def shipped(name: str) -> Loaded:
    """Return a shipped sequence."""
    return load(SEQUENCES / f"{name}.yaml")


def named(plan: Plan, lane: int, name: str) -> Node:
    """Return the node of a lane by its name."""
    return next(plan.nodes[node] for node in plan.lanes[lane] if plan.nodes[node].name == name)


@pytest.mark.parametrize("name", SHIPPED)
def test_every_index_of_a_plan_leads_where_it_says(name: str) -> None:
    """The core follows indices blindly; a wrong one moves the wrong arm."""
    plan = shipped(name).plan

    assert [node for lane in plan.lanes for node in lane] == list(range(len(plan.nodes)))
    for lane, nodes in enumerate(plan.lanes):
        assert all(plan.nodes[node].lane == lane for node in nodes)
    for number, barrier in enumerate(plan.barriers):
        assert len(barrier.lanes) == len(barrier.nodes) == len(barrier.next_nodes) >= 2
        for lane, node, following in zip(
            barrier.lanes, barrier.nodes, barrier.next_nodes, strict=True
        ):
            assert plan.nodes[node].barrier == number
            assert (plan.nodes[node].lane, plan.nodes[node].name) == (lane, barrier.name)
            if following >= 0:
                assert plan.nodes[following].after == (node,)
                assert plan.nodes[following].kind is NodeKind.STEP
    for one in plan.nodes:
        assert (one.kind is NodeKind.BARRIER) == (one.barrier >= 0) == (one.move is None)
        assert all(plan.nodes[before].lane == one.lane for before in one.after)
        # The steps stand in the file that the one for eight bolts is based on.
        assert one.origin.file == f"{name.removesuffix('_8')}.yaml"


@pytest.mark.parametrize("name", SHIPPED)
def test_node_names_stand_once_in_their_lane(name: str) -> None:
    """SQ12: A trace that says `park` twice would not say which."""
    plan = shipped(name).plan

    for lane in plan.lanes:
        names = [plan.nodes[node].name for node in lane]
        assert len(names) == len({*names})


def test_bolts_are_pulled_in_opposite_pairs_a_quarter_turn_apart() -> None:
    """MIL-HDBK-60, 5.7: opposite bolts together, next the pair 90 degrees away."""
    plan = shipped("makeup_8").plan
    pulls = [
        [
            (node.record.round, node.record.bolt)
            for node in (plan.nodes[index] for index in lane)
            if node.record is not None and node.record.kind == "pull"
        ]
        for lane in plan.lanes[:2]
    ]

    assert pulls[0] == [(number, bolt) for number in (1, 2, 3) for bolt in (1, 3, 2, 4)]
    assert pulls[1] == [(number, bolt) for number in (1, 2, 3) for bolt in (5, 7, 6, 8)]


def test_a_span_holds_the_pull_and_its_confirmation_of_both_sides() -> None:
    """One fate for both from the paired barrier to the one that closes it."""
    plan = shipped("makeup_8").plan
    span = next(one for one in plan.spans if one.name == "pull (round 2, pair 3)")

    assert plan.barriers[span.opens].name == "pull (round 2, pair 3)"
    assert plan.barriers[span.closes].name == "pulled (round 2, pair 3)"
    assert [[plan.nodes[node].name for node in nodes] for nodes in span.nodes] == [
        ["pull bolt 2 round 2", "confirm torque bolt 2 round 2"],
        ["pull bolt 6 round 2", "confirm torque bolt 6 round 2"],
    ]
    assert (span.balance_nm, span.stop_us, span.lanes) == (600, 3_000_000, (0, 1))
    assert len(plan.spans) == 3 * 4 + 4


@pytest.mark.parametrize("name", SHIPPED)
def test_every_step_of_a_span_points_at_it_and_no_other_step_does(name: str) -> None:
    """Span and node state the same fact; they must not drift apart."""
    plan = shipped(name).plan
    inside = {
        node: number
        for number, span in enumerate(plan.spans)
        for nodes in span.nodes
        for node in nodes
    }

    assert {index: node.span for index, node in enumerate(plan.nodes) if node.span >= 0} == inside
    for number, span in enumerate(plan.spans):
        assert plan.barriers[span.opens].span == number


def test_a_recovery_takes_from_its_step_what_it_is_not_given() -> None:
    """`back_off` is written without a bolt: it means the bolt of the step that failed."""
    plan = shipped("makeup_8").plan
    node = named(plan, 1, "run up bolt 6")
    rule = next(one for one in node.rules if one.fault == "thread_stalled")

    assert rule.recover == (
        Move("back_off", (("bolt", 6), ("turns", 2)), 60_000_000, 5_000_000, "stop"),
        Move("lift", (), 30_000_000, 5_000_000, "stop"),
        Move("locate_hole", (("bolt", 6),), 30_000_000, 5_000_000, "stop"),
    )
    assert plan.nodes[rule.again_from].name == "place bolt 6"
    assert (rule.attempts, rule.then) == (3, Exhausted.ASK)
    assert plan.prompts[rule.prompt].name == "thread_trouble"


def test_a_step_carries_rules_only_for_faults_it_can_raise() -> None:
    """SQ13: One policy serves three actions; each step keeps its own part of it."""
    plan = shipped("makeup_8").plan
    pair = ["out_of_balance", "out_of_step"]

    pull = named(plan, 0, "pull bolt 1 round 1")
    confirm = named(plan, 0, "confirm torque bolt 1 round 1")

    assert sorted(rule.fault for rule in pull.rules) == [
        "bolt_broken",
        "leak",
        *pair,
        "out_of_window",
        "reaction_lost",
        "refused",
        "torque_not_reached",
        "turns_without_torque",
    ]
    assert sorted(rule.fault for rule in confirm.rules) == [
        "nut_turned",
        *pair,
        "reaction_lost",
        "refused",
        "torque_not_held",
    ]


def test_an_exception_of_a_block_holds_for_all_its_steps() -> None:
    """Both arms bolt up beneath the landed length, for the one reason given."""
    loaded = shipped("makeup_8")
    reason = "the length rests on the flange; the hook stays on as a second support"
    names = [one.name for one in loaded.plan.interlocks]

    node = named(loaded.plan, 0, "pull bolt 1 round 1")

    assert [(names[interlock], why) for interlock, why in node.exceptions] == [
        ("load_overhead", reason)
    ]
    assert named(loaded.plan, 0, "fit cover").exceptions == ()


def test_the_window_and_the_record_of_a_pull_follow_its_round() -> None:
    """30 % of the target within 5 %, in the shipped joint."""
    loaded = shipped("makeup_8")
    target_nm = 0.3 * loaded.joint.torque_nm

    node = named(loaded.plan, 0, "pull bolt 3 round 1")

    assert node.record is not None
    assert node.record.target_nm == pytest.approx(target_nm)
    (window,) = node.windows
    assert (window.result, window.fault) == ("torque_nm", "out_of_window")
    assert window.least == pytest.approx(0.95 * target_nm)
    assert window.most == pytest.approx(1.05 * target_nm)


def test_the_reaction_bears_on_the_other_neighbour_for_breaking_out() -> None:
    """Make-up reacts on the next bolt clockwise, break-out on the one before; 1 follows 8."""
    made = named(shipped("makeup_8").plan, 1, "react bolt 8 round 1")
    broken = named(shipped("breakout_8").plan, 0, "react bolt 1")

    assert made.move is not None
    assert dict(made.move.parameters) == {"bolt": 8, "on": 1}
    assert broken.move is not None
    assert dict(broken.move.parameters) == {"bolt": 1, "on": 8}


def test_parties_come_in_the_order_of_the_cell_with_the_hoist_last() -> None:
    """The index of a party is its lane."""
    plan = shipped("makeup_8").plan

    assert [(party.name, party.is_arm) for party in plan.parties] == [
        ("fore", True),
        ("aft", True),
        ("hoist", False),
    ]
    assert (plan.timing.lease_us, plan.timing.renew_us) == (1_000_000, 400_000)


def test_the_digest_pins_every_file() -> None:
    """A changed file must be noticed on resume, whichever of them it is."""
    loaded = shipped("makeup_8")

    assert loaded.files == tuple(
        (name, sha256((SEQUENCES / name).read_bytes()).hexdigest())
        for name in (
            *("makeup_8.yaml", "makeup.yaml"),
            *("cells/sill_point.yaml", "joints/airlift_16in_8.yaml"),
        )
    )
    lines = "".join(f"{digest}  {name}\n" for name, digest in loaded.files)
    assert loaded.plan.digest == sha256(lines.encode()).hexdigest()


@pytest.mark.parametrize("name", SHIPPED)
def test_loading_twice_gives_an_equal_plan(name: str) -> None:
    """SQ7: A plan is a value of its files alone."""
    assert load(SEQUENCES / f"{name}.yaml").plan == shipped(name).plan


def test_a_shipped_make_up_is_compiled_fast() -> None:
    """Under 0.3 s of a processor, the budget set for it; usually a tenth of that."""
    shipped("makeup_8")
    begin_s = process_time()

    load(SEQUENCES / "makeup_8.yaml")

    assert process_time() - begin_s < 0.3


@pytest.mark.parametrize("count", [4, 6, 12, 16, 20, 24])
def test_the_same_sequence_serves_other_bolt_counts(tmp_path: Path, count: int) -> None:
    """Loops run over the joint, and so do the holes of the pins."""
    text = (SEQUENCES / "breakout.yaml").read_text(encoding="utf-8")
    path = write_sequence(tmp_path, text, head="")
    joint = tmp_path / "joints" / "airlift_16in_8.yaml"
    joint.write_text(
        joint.read_text(encoding="utf-8")
        .replace("count: 8", f"count: {count}")
        .replace("[2, 6]", "[1, 3]")
    )

    plan = load(path).plan

    bolts = [
        node.record.bolt
        for node in plan.nodes
        if node.record is not None and node.record.kind == "break-out"
    ]
    assert sorted(bolts) == list(range(1, count + 1))
    assert len(plan.spans) == count // 2
