"""Every bolt is followed to its end: pulled in the last round, checked, only then handed over."""

from pathlib import Path

import pytest

from tests.support.sequence_files import SEQUENCES, codes_of, findings_of, write_sequence

MAKEUP = (SEQUENCES / "makeup.yaml").read_text(encoding="utf-8")
REPLACE = (SEQUENCES / "replace_bolt.yaml").read_text(encoding="utf-8")
CHECK_PASS = """      - each: pair
        steps:
          - use: check_bolt
"""
ROUNDS = "      - each: round\n        steps:\n"
TAKE = """    - barrier: tools_away
    - do: take_string
      exceptions: [hoist_at_work, hoist_carries]
"""


def changed(folder: Path, text: str, old: str, new: str) -> Path:
    """Write a shipped sequence with one part changed."""
    assert old in text
    return write_sequence(folder, text.replace(old, new), head="")


SOME_CHECKS = CHECK_PASS.replace("pair\n", "pair\n        only: [1]\n")
MOST_CHECKS = CHECK_PASS.replace("pair\n", "pair\n        only: [1, 2, 3]\n")
TWO_ROUNDS = ROUNDS.replace("round\n", "round\n        only: [1, 2]\n")


@pytest.mark.parametrize(
    ("text", "old", "new", "finding"),
    [
        (MAKEUP, ROUNDS, TWO_ROUNDS, ("SEQ068", "are left loose")),
        (MAKEUP, CHECK_PASS, MOST_CHECKS, ("SEQ069", "bolts 4, 8 are pulled in the last round")),
        (REPLACE, CHECK_PASS, SOME_CHECKS, ("SEQ069", "bolts 3, 7 are pulled in the last round")),
        (REPLACE, ROUNDS, TWO_ROUNDS, ("SEQ068", "bolts 3, 7 are left loose")),
    ],
    ids=["rounds", "checks", "checks after replacing", "rounds after replacing"],
)
def test_a_bolt_that_is_left_out_anywhere_is_told(
    tmp_path: Path, text: str, old: str, new: str, finding: tuple[str, str]
) -> None:
    """SQ15: One bolt that was forgotten makes a joint that leaks."""
    code, told = finding
    findings = findings_of(changed(tmp_path, text, old, new))

    assert {one.code for one in findings} == {code}
    assert any(told in one.what for one in findings)


def test_bolts_that_stay_out_while_others_are_pulled_are_told(tmp_path: Path) -> None:
    """SQ15: Nobody would see from the lanes that bolts 2, 4, 6 and 8 are never touched."""
    only = "pair\n            only: [1, 3]\n"
    text = MAKEUP.replace("      - each: own_bolt\n", "      - each: own_bolt\n        only: [1]\n")
    text = text.replace(CHECK_PASS, CHECK_PASS.replace("pair\n", "pair\n        only: [1, 3]\n"))
    path = changed(tmp_path, text, "          - each: pair\n", f"          - each: {only}")

    findings = findings_of(path)

    assert [(one.code, one.what) for one in findings] == [
        ("SEQ068", "bolts 2, 4, 6, 8 are never pulled")
    ]


def test_a_joint_is_not_handed_over_while_one_side_still_checks(tmp_path: Path) -> None:
    """The hoist would move what a wrench is still on."""
    text = MAKEUP.replace("  tools_away:", "  checks_begin: {timeout: 4 h}\n  tools_away:")
    text = text.replace(CHECK_PASS, "      - barrier: checks_begin\n" + CHECK_PASS)
    take = TAKE.replace("    - barrier: tools_away\n", "    - barrier: checks_begin\n", 1)
    path = changed(tmp_path, text, TAKE, take + "    - barrier: tools_away\n")

    assert "SEQ072" in codes_of(path)
    assert set(codes_of(path)) == {"SEQ071", "SEQ072"}  # The string moves beneath the wrench.


def test_a_pull_on_a_joint_that_is_made_up_needs_no_new_check(tmp_path: Path) -> None:
    """A bolt that was tight does not come loose by being pulled once more."""
    body = """
barriers:
  pull: {timeout: 1 s, paired_until: pulled, balance: 1 kN.m, stop: 3 s}
  pulled: {timeout: 1 s}
blocks:
  pull_bolt:
    takes: [bolt, neighbour]
    steps:
      - {do: change_tool, with: {tool: wrench}}
      - {do: react, with: {bolt: $bolt, on: $neighbour}}
      - barrier: pull
      - {do: pull, with: {bolt: $bolt, torque: $joint.torque}}
      - barrier: pulled
lanes:
  fore: [{use: pull_bolt, with: {bolt: 1, neighbour: 2}}]
  aft: [{use: pull_bolt, with: {bolt: 5, neighbour: 4}}]
"""
    path = write_sequence(tmp_path, body)
    path.write_text(path.read_text().replace("begins: joint_open", "begins: joint_made_up"))

    assert codes_of(path) == []
