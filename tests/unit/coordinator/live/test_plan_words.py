"""What differs between two plans is told as what is done to steel, not as lines of a file."""

from dataclasses import replace

from coordinator.core.plan import Plan
from coordinator.live.plan_words import plan_differences
from tests.support.small_plan import small_plan


def with_node(plan: Plan, name: str, **changes: object) -> Plan:
    """Return the plan with every move of that name changed."""
    nodes = [
        replace(node, move=replace(node.move, **changes))  # type: ignore[arg-type] # names are checked by replace
        if node.name == name and node.move is not None
        else node
        for node in plan.nodes
    ]
    return replace(plan, nodes=tuple(nodes))


def test_equal_plans_differ_in_nothing() -> None:
    """A file of which only a comment changed does the same."""
    assert plan_differences(small_plan(), replace(small_plan(), digest="e" * 64)) == ()


def test_a_changed_torque_is_told_in_newton_metres() -> None:
    """The person who decides reads torques, not parameters."""
    plan = small_plan()
    step = next(node.name for node in plan.nodes if node.move is not None)
    before = with_node(plan, step, parameters=(("torque_nm", 2500.0),))
    after = with_node(plan, step, parameters=(("torque_nm", 2700.0),))

    (line, *_) = plan_differences(before, after)

    assert line.endswith(f", {step}: torque 2,500 N·m then, 2,700 N·m now")


def test_a_changed_time_is_told_in_seconds() -> None:
    """Microseconds are for the core."""
    plan = small_plan()
    step = next(node.name for node in plan.nodes if node.move is not None)

    lines = plan_differences(
        with_node(plan, step, timeout_us=60_000_000), with_node(plan, step, timeout_us=90_000_000)
    )

    assert lines
    assert all("timeout 60 s then, 90 s now" in line for line in lines)


def test_a_step_that_is_gone_is_named() -> None:
    """A bolt that nobody would pull any more must not be overlooked."""
    plan = small_plan()
    gone = plan.nodes[-1]

    lines = plan_differences(plan, replace(plan, nodes=plan.nodes[:-1], barriers=(), spans=()))

    assert any(gone.name in line and "gone now" in line for line in lines)
