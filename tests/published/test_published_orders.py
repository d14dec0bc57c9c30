"""Tightening orders against ASME PCC-1 and MIL-HDBK-60."""

import pytest

from coordinator.bolting.rounds import (
    circular_order,
    cross_order,
    two_tool_order,
)

READ = "ASME PCC-1, legacy cross pattern, reprint"
MEMORY = "ASME PCC-1, legacy cross pattern, from memory"
ORDERS = [
    (4, "1-3-2-4", READ),
    (8, "1-5-3-7 / 2-6-4-8", READ),
    (12, "1-7-4-10 / 2-8-5-11 / 3-9-6-12", READ),
    (16, "1-9-5-13 / 3-11-7-15 / 2-10-6-14 / 4-12-8-16", READ),
    (20, "1-11-6-16 / 3-13-8-18 / 5-15-10-20 / 2-12-7-17 / 4-14-9-19", MEMORY),
    (24, "1-13-7-19 / 4-16-10-22 / 2-14-8-20 / 5-17-11-23 / 3-15-9-21 / 6-18-12-24", MEMORY),
    (
        28,
        "1-15-8-22 / 4-18-11-25 / 6-20-13-27 / 2-16-9-23 / 5-19-12-26 / 7-21-14-28 / 3-17-10-24",
        MEMORY,
    ),
    (
        32,
        "1-17-9-25 / 5-21-13-29 / 3-19-11-27 / 7-23-15-31 / "
        "2-18-10-26 / 6-22-14-30 / 8-24-16-32 / 4-20-12-28",
        MEMORY,
    ),
]
COUNTS = tuple(range(4, 33, 2))


@pytest.mark.parametrize(("bolt_count", "printed", "source"), ORDERS)
def test_cross_orders_agree_with_the_assembly_guideline(
    bolt_count: int, printed: str, source: str
) -> None:
    """ASME PCC-1, legacy pattern; exact."""
    expected = tuple(int(bolt) for bolt in printed.replace("/", "-").split("-"))

    assert cross_order(bolt_count) == expected, source


def test_two_tools_follow_the_drawn_sixteen_bolt_order() -> None:
    """MIL-HDBK-60, 5.7, Fig. 4, rule read: opposite bolts, then 90 degrees away, then between."""
    pairs = two_tool_order(16)

    assert pairs[:2] == ((1, 9), (5, 13))
    assert pairs[2:4] == ((3, 11), (7, 15))
    assert len(pairs) == 8


@pytest.mark.parametrize("bolt_count", COUNTS)
def test_two_tools_always_stand_half_a_turn_apart(bolt_count: int) -> None:
    """MIL-HDBK-60, 5.7: opposite bolts together; every bolt comes once (BT5)."""
    pairs = two_tool_order(bolt_count)

    assert all(second - first == bolt_count // 2 for first, second in pairs)
    assert sorted(bolt for pair in pairs for bolt in pair) == list(circular_order(bolt_count))


@pytest.mark.parametrize("bolt_count", [count for count in COUNTS if count % 4 == 0])
def test_every_other_pair_stands_a_quarter_turn_from_the_one_before(bolt_count: int) -> None:
    """MIL-HDBK-60, 5.7: the pair 90 degrees away comes next, where there is one."""
    pairs = two_tool_order(bolt_count)

    for first, second in zip(pairs[::2], pairs[1::2], strict=True):
        assert second[0] - first[0] == bolt_count // 4


@pytest.mark.parametrize("bolt_count", [count for count in COUNTS if count % 4 == 2])
def test_second_pair_is_the_nearest_to_a_quarter_turn_where_there_is_none_exact(
    bolt_count: int,
) -> None:
    """Derived: with an odd number of pairs the nearest axis is half a bolt spacing off."""
    first, second = two_tool_order(bolt_count)[:2]

    assert abs((second[0] - first[0]) - bolt_count / 4.0) == 0.5
