"""Findings of form and meaning beyond the samples: one small file for each, told by its code."""

from pathlib import Path

import pytest

from coordinator.sequence import SequenceError, load, read_cell
from coordinator.sequence.form.diagnostics import DIAGNOSTICS_MAX, Diagnostic, Findings, choose_from
from coordinator.sequence.models.sequence_model import SequenceModel
from tests.support.sequence_files import SEQUENCES, codes_of, findings_of, write_sequence

PAIRED = "{timeout: 1 s, paired_until: pulled, balance: 1 kN.m, stop: 3 s}"
WRENCH = "{do: change_tool, with: {tool: wrench}}"
REACT = "{do: react, with: {bolt: %d, on: %d}}"
PULL = "{do: pull, with: {bolt: %s, torque: $joint.torque}}"
BLOCK = "blocks: {look: {takes: [bolt], steps: [{do: locate_hole, with: {bolt: $bolt}}]}}"
SEATING = "policies: {seating: {socket_not_seated: {attempts: 2, recover: [%s]}}}"
SEAT = f"lanes: {{fore: [{WRENCH}, {{do: seat_wrench, with: {{bolt: 1}}, policy: seating}}]}}"


@pytest.mark.parametrize(
    ("body", "codes"),
    [
        # Form
        ("lanes: {fore: []}", ["SEQ009"]),
        ("lanes: {}", ["SEQ009"]),
        ("lanes: {fore: [park]}", ["SEQ008"]),
        ("lanes: {fore: {do: park}}", ["SEQ008"]),
        ("lanes: {fore: [{do: 7}]}", ["SEQ008"]),
        ("lanes: {fore: [{do: ~}]}", ["SEQ008"]),
        ("lanes: {fore: [{do: [park]}]}", ["SEQ008"]),
        ("lanes: {fore: [{do: park, timeout: yes}]}", ["SEQ008"]),
        ("lanes: {fore: [{do: park, timeout: -5 s}]}", ["SEQ009"]),
        ("lanes: {fore: [{do: park, timeout: 0 s}]}", ["SEQ009"]),
        ("lanes: {fore: [{each: bolt, steps: [{do: park}]}]}", ["SEQ009"]),
        ("lanes: {fore: [{do: park, use: block}]}", ["SEQ006"]),
        ("barriers: {Met: {}}\nlanes: {fore: [{do: park}]}", ["SEQ010"]),
        ("barriers: {met: ~}\nlanes: {fore: [{do: park}]}", ["SEQ008"]),
        ("lanes: {fore: [{doo: park}]}", ["SEQ006"]),
        ("lanes: {fore: [{with: {bolt: 1}}]}", ["SEQ007"]),
        ("lanes: {fore: [{do: locate_hole, with: {bolt: [1]}}]}", ["SEQ008"]),
        ("lanes: {fore: [{do: locate_joint, policy: }]}", ["SEQ008"]),
        ("exceptions: {near: {interlock: load_overhead, reason: near, because: x}}\n"
         "lanes: {fore: [{do: park, exceptions: [near]}]}", ["SEQ006"]),
        # Blocks and loops
        (f"{BLOCK}\nlanes: {{fore: [{{use: look}}]}}", ["SEQ016"]),
        (f"{BLOCK}\nlanes: {{fore: [{{use: look, with: {{bolt: 1, nut: 2}}}}]}}", ["SEQ015"]),
        (f"{BLOCK}\nlanes: {{fore: [{{use: look, with: {{bolt: $nut}}}}]}}", ["SEQ013"]),
        (f"{BLOCK}\nlanes: {{fore: [{{use: look, with: {{bolt: 12}}}}]}}", ["SEQ017"]),
        ("lanes: {hoist: [{each: own_bolt, steps: [{do: bring_length}]}]}", ["SEQ021"]),
        ("lanes: {hoist: [{do: park}]}", ["SEQ021"]),
        # Steps
        ("lanes: {fore: [{do: park, id: a}, {do: park, id: a}]}", ["SEQ010"]),
        ("lanes: {fore: [{do: locate_joint, expect: {confidence: [1, 0.5]}}]}", ["SEQ009"]),
        ("lanes: {fore: [{do: locate_joint, expect: {confidence: [high, 1]}}]}", ["SEQ008"]),
        ("lanes: {fore: [{do: locate_joint, expect: {shift_m: [1 mm, 2 deg]}}]}", ["SEQ012"]),
        ("lanes: {fore: [{do: park, recheck: [locate_hole]}]}", ["SEQ016"]),
        ("lanes: {fore: [{do: park, recheck: [locate_hold]}]}", ["SEQ014"]),
        ("lanes: {fore: [{do: park, round: two}]}", ["SEQ008"]),
        ("lanes: {fore: [{do: turn_wrench_over}]}", ["SEQ020"]),
        (
            f"lanes: {{fore: [{WRENCH}, {PULL.replace('$joint.torque', '5 mm') % 1}]}}",
            ["SEQ051", "SEQ064", "SEQ012"],
        ),
        # Policies
        (
            SEATING % "{do: lift_wrench}"
            + f"\n{SEAT.replace('bolt: 1', 'bolt: 12')}",
            ["SEQ017"],
        ),
        (SEATING % "{do: lift_wrensh}" + f"\n{SEAT}", ["SEQ014"]),
        (SEATING % WRENCH + f"\n{SEAT}", ["SEQ020"]),
        (SEATING % "{do: index_socket}" + f"\n{SEAT}", ["SEQ016"]),
        (SEATING % "{do: index_socket, with: {by: 10 mm}}" + f"\n{SEAT}", ["SEQ012"]),
        (
            "policies: {seating: {socket_not_seated: {attempts: 2, again_from: up}}}\n" + SEAT,
            ["SEQ032"],
        ),
        ("policies: {p: {not_located: {attempts: 0}}}\n"
         "lanes: {fore: [{do: locate_joint, policy: p}]}", ["SEQ042"]),
        # Barriers
        (
            f"barriers: {{pull: {PAIRED}, pulled: {{timeout: 1 s}}}}\n"
            "lanes: {fore: [{barrier: pull}, {barrier: pulled}],"
            " aft: [{barrier: pull}, {barrier: pulled}], hoist: [{barrier: pulled}]}",
            ["SEQ039"],
        ),
        (
            f"barriers: {{pull: {PAIRED}, pulled: {{timeout: 1 s}}}}\n"
            "lanes: {"
            f"fore: [{WRENCH}, {REACT % (1, 2)}, {{barrier: pull}},"
            f" {PULL % 9}, {{barrier: pulled}}],"
            f"aft: [{WRENCH}, {REACT % (5, 6)}, {{barrier: pull}},"
            f" {PULL % 5}, {{barrier: pulled}}]}}",
            ["SEQ017"],
        ),
        (
            f"barriers: {{pull: {PAIRED}}}\n"
            "lanes: {fore: [{barrier: pull}], aft: [{barrier: pull}]}",
            ["SEQ033"],
        ),
    ],
)  # fmt: skip
def test_a_small_mistake_is_told_by_its_code(tmp_path: Path, body: str, codes: list[str]) -> None:
    """Each line is sound but for one thing."""
    assert codes_of(write_sequence(tmp_path, body + "\n")) == codes


def test_a_sequence_that_is_a_list_is_told(tmp_path: Path) -> None:
    """A file of another kind altogether still gets a message and no traceback."""
    assert codes_of(write_sequence(tmp_path, "- one\n", head="")) == ["SEQ008"]


def test_a_missing_cell_is_told_by_its_path(tmp_path: Path) -> None:
    """The message stands where the path is to be corrected and names what is missing."""
    path = write_sequence(tmp_path, "lanes: {fore: [{do: park}]}\n")
    (tmp_path / "cells" / "sill_point.yaml").unlink()

    (finding,) = findings_of(path)

    assert (finding.file, finding.line, finding.code) == (str(path), 3, "SEQ001")
    assert "cells/sill_point.yaml" in finding.what


@pytest.mark.parametrize(
    ("before", "after", "codes"),
    [
        ("calibration_due: 2027-08-03", "calibration_due: soon", ["SEQ008"]),
        ("hoist: hoist ", "hoist: fore ", ["SEQ010"]),
        ("renew: 400 ms", "renew: 1 s", ["SEQ009"]),
        ("asks: 3", "asks: 0", ["SEQ009"]),
        ("points: 6}", "points: 8}", ["SEQ009", "SEQ009"]),
        ("  turn_socket: {needs: spinner", "  turn_socket: {needs: spanner", ["SEQ018"]),
        ("recheck: [locate_hole]", "recheck: [locate_hold]", ["SEQ014"]),
        ("raises: [tool_not_locked,", "raises: [tool_not_loked,", ["SEQ030"]),
        ("kind: permissive", "kind: permission", ["SEQ009"]),
        ("alone: no}", "alone: never}", ["SEQ008"] * 10),
        ("zones: [bore] ", "zones: bore ", ["SEQ008"]),
    ],
)
def test_a_small_mistake_in_a_cell_is_told_by_its_code(
    tmp_path: Path, before: str, after: str, codes: list[str]
) -> None:
    """The shipped cell is sound but for one thing."""
    text = (SEQUENCES / "cells" / "sill_point.yaml").read_text(encoding="utf-8")
    assert before in text
    path = tmp_path / "cell.yaml"
    path.write_text(text.replace(before, after), encoding="utf-8")

    with pytest.raises(SequenceError) as caught:
        read_cell(path)

    assert [one.code for one in caught.value.diagnostics] == codes


def test_a_tool_without_a_limit_may_not_pull(tmp_path: Path) -> None:
    """A missing limit is not an infinite one."""
    path = write_sequence(tmp_path, (SEQUENCES / "breakout.yaml").read_text(), head="")
    cell = tmp_path / "cells" / "sill_point.yaml"
    cell.write_text(cell.read_text().replace("        torque_max: 8 kN.m\n", ""))

    assert {*codes_of(path)} == {"SEQ048"}


def test_the_reason_closest_to_the_step_is_the_one_recorded(tmp_path: Path) -> None:
    """Block and step except the same interlock; the step knows best why."""
    body = """
exceptions:
  wide: {interlock: load_overhead, reason: all of it}
  near: {interlock: load_overhead, reason: just this}
blocks: {stow: {steps: [{do: park, exceptions: [near]}, {do: park}]}}
lanes: {fore: [{use: stow, exceptions: [wide]}]}
"""
    plan = load(write_sequence(tmp_path, body)).plan

    assert [node.exceptions for node in plan.nodes] == [((2, "just this"),), ((2, "all of it"),)]


def test_reading_ends_at_more_findings_than_anyone_reads() -> None:
    """A hostile file must not fill the memory with its own mistakes."""
    findings = Findings()
    for line in range(DIAGNOSTICS_MAX - 1):
        findings.add(Diagnostic("a.yaml", line, 1, "is", "must be", "do", "SEQ001"))

    with pytest.raises(SequenceError) as caught:
        findings.add(Diagnostic("a.yaml", 999, 1, "is", "must be", "do", "SEQ001"))

    assert len(caught.value.diagnostics) == DIAGNOSTICS_MAX


def test_a_very_long_line_is_shown_around_its_place() -> None:
    """A line of a megabyte must not scroll everything else away; the caret stays in its place."""
    line = "x" * 50_000 + "!" + "x" * 50_000
    finding = Diagnostic("a.yaml", 3, 50_001, "is", "must be", "do", "SEQ001", line)

    _, shown, caret = finding.render().splitlines()

    assert len(shown) < 200
    assert shown[caret.index("^")] == "!"


def test_what_would_move_the_cursor_is_not_printed() -> None:
    """A file must not be able to paint over what is said about it."""
    finding = Diagnostic("a.yaml", 1, 4, "is", "must be", "do", "SEQ001", "a: \x1b[2Jb")

    assert "\x1b" not in finding.render()


def test_a_letter_of_another_alphabet_is_named() -> None:
    """Both names look alike in print; only the number tells them apart."""
    _, do = choose_from("f\u043ere", ["fore", "aft"], "parties")

    assert do.endswith("U+043E")


def test_a_code_that_is_not_declared_cannot_be_told() -> None:
    """A code without a heading would leave the author alone with it."""
    with pytest.raises(KeyError):
        Findings().add(Diagnostic("a.yaml", 1, 1, "is", "must be", "do", "SEQ999"))


def test_an_error_shows_every_finding_with_its_line() -> None:
    """People read the rendered form, scripts the plain one."""
    one = Diagnostic("a.yaml", 3, 5, "is", "must be", "do", "SEQ001", "    x: 1")
    other = Diagnostic("b.yaml", 1, 1, "is", "must be", "do", "SEQ001")

    error = SequenceError([one, other])

    assert str(error) == (
        "a.yaml:3:5: is, must be; do [SEQ001]\nb.yaml:1:1: is, must be; do [SEQ001]"
    )
    assert error.render() == (
        "a.yaml:3:5: is, must be; do [SEQ001]\n    3 |     x: 1\n      |     ^\n"
        "b.yaml:1:1: is, must be; do [SEQ001]"
    )


def test_a_model_can_be_written_out_and_compared() -> None:
    """Two files are compared in words by what their models hold."""
    model: SequenceModel = load(SEQUENCES / "makeup_8.yaml").sequence

    written = model.model_dump(by_alias=True, exclude_defaults=True)

    assert written["lanes"]["hoist"][0] == {"barrier": "bore_covered"}
    assert written["lanes"]["fore"][0] == {"do": "change_tool", "with": {"tool": "gripper"}}
