"""A step accepts what it is told to reach, in every round."""

from pathlib import Path

import pytest

from tests.support.sequence_files import SEQUENCES, findings_of, write_sequence

MAKEUP = (SEQUENCES / "makeup.yaml").read_text(encoding="utf-8")
ROUND, JOINT = "torque: $round.torque\n", "torque: $joint.torque\n"
WINDOW = "expect: {torque_nm: [$torque_least, $torque_most]}"


def test_a_full_pull_in_every_round_contradicts_the_windows_of_the_first_rounds(
    tmp_path: Path,
) -> None:
    """SQ20: two of three rounds cannot succeed, on 4 pairs a side: found before anything moves."""
    assert MAKEUP.count(ROUND) == 1
    path = write_sequence(tmp_path, MAKEUP.replace(ROUND, JOINT), head="")

    (one,) = findings_of(path)

    assert one.code == "SEQ081"
    assert "round 1" in one.what
    assert "15 more" in one.what
    line = path.read_text(encoding="utf-8").splitlines()[one.line - 1]
    assert line.strip() == WINDOW


def test_one_side_that_pulls_in_full_is_told_by_its_name(tmp_path: Path) -> None:
    """The other side keeps to the rounds; the block that both use is where the window stands."""
    begin = MAKEUP.index("  bolt_up:\n")
    block = MAKEUP[begin : MAKEUP.index("\nlanes:", begin)]
    other = block.replace("  bolt_up:", "  full_up:").replace(ROUND, JOINT)
    text = MAKEUP.replace(block, block + other)
    aft = text.index("  aft:\n")
    text = text[:aft] + text[aft:].replace("- use: bolt_up", "- use: full_up", 1)

    (one,) = findings_of(write_sequence(tmp_path, text, head=""))

    assert one.code == "SEQ081"
    assert "of 'aft'" in one.what
    assert "7 more" in one.what


@pytest.mark.parametrize(
    ("expect", "codes"),
    [
        ("torque_nm: [3 kN.m, 4 kN.m]", ["SEQ081"]),
        ("torque_nm: [2 kN.m, 2.5 kN.m]", []),
        ("torque_nm: [2.5 kN.m, 3 kN.m]", []),
        ("torque_nm: [0 N.m, 2499 N.m]", ["SEQ081"]),
        ("angle_rad: [0 deg, 1 deg]", []),
    ],
)
def test_the_bounds_of_a_window_belong_to_it(tmp_path: Path, expect: str, codes: list[str]) -> None:
    """SQ20: A result that is called like no parameter says nothing about what the step is told."""
    pulls = "".join(
        f"  {side}:\n    - {{do: change_tool, with: {{tool: wrench}}}}\n"
        f"    - {{do: react, with: {{bolt: {bolt}, on: {bolt + 1}}}}}\n    - barrier: pull\n"
        f"    - {{do: pull, with: {{bolt: {bolt}, torque: 2500 N.m}}, expect: {{{expect}}}}}\n"
        "    - barrier: pulled\n"
        for side, bolt in (("fore", 1), ("aft", 5))
    )
    body = f"{MEETINGS}lanes:\n{pulls}"
    path = write_sequence(tmp_path, body, head=HEAD)

    assert [one.code for one in findings_of(path)] == codes * 2


HEAD = """sequence: small
text: small
cell: cells/sill_point.yaml
joint: joints/airlift_16in_8.yaml
begins: joint_made_up
otherwise: hold
"""
MEETINGS = """barriers:
  pull: {timeout: 5 min, window: 50 ms, paired_until: pulled, balance: 600 N.m, stop: 3 s}
  pulled: {timeout: 5 min}
"""
