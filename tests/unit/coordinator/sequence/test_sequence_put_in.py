"""What is put into the joint comes out again, and nothing is taken out that is not in."""

from pathlib import Path

import pytest

from tests.support.sequence_files import codes_of, findings_of, write_sequence

GRIPPER = "{do: change_tool, with: {tool: gripper}}"
MET = "barriers: {met: {timeout: 5 min}}\n"
FIT, TAKE = "{do: fit_cover}", "{do: take_cover}"
LOST = "{do: fit_cover, policy: covering}"
FROM_PIN = "{do: fit_pin, with: {hole: 2, turns: 5}, id: pin}"


def pin(do: str, hole: int) -> str:
    return f"{{do: {do}_pin, with: {{hole: {hole}, turns: 5}}}}"


def fore(*steps: str) -> str:
    return f"lanes: {{fore: [{GRIPPER}, {', '.join(steps)}]}}"


def recovery(*moves: str, more: str = "") -> str:
    return f"policies: {{covering: {{part_dropped: {{recover: [{', '.join(moves)}]{more}}}}}}}\n"


@pytest.mark.parametrize(
    ("body", "codes"),
    [
        # What is put in comes out again, by whom it may be, but surely later.
        (fore(pin("fit", 2), pin("take", 2)), []),
        (fore(pin("fit", 2), pin("take", 6)), ["SEQ070", "SEQ080"]),
        (fore(pin("take", 2), pin("fit", 2)), ["SEQ080", "SEQ070"]),
        (f"lanes: {{fore: [{GRIPPER}, {pin('fit', 2)}], aft: [{GRIPPER}, {pin('take', 2)}]}}",
         ["SEQ070", "SEQ080"]),
        (f"{MET}lanes: {{fore: [{GRIPPER}, {pin('fit', 2)}, {{barrier: met}}],"
         f" aft: [{GRIPPER}, {{barrier: met}}, {pin('take', 2)}]}}", []),
        # Taken out once for each time that it is put in.
        (fore(TAKE), ["SEQ080"]),
        (fore(FIT, TAKE, TAKE), ["SEQ080"]),
        (fore(FIT, TAKE, FIT, TAKE), []),
        (f"{MET}lanes: {{fore: [{GRIPPER}, {FIT}, {{barrier: met}}, {TAKE}],"
         f" aft: [{GRIPPER}, {TAKE}, {{barrier: met}}]}}", ["SEQ080"]),
        # A recovery takes out what a later step would take out.
        (recovery(pin("take", 2)) + fore(pin("fit", 2), LOST, TAKE, pin("take", 2)), ["SEQ080"]),
        (recovery(pin("take", 2), pin("fit", 2)) + fore(pin("fit", 2), LOST, TAKE, pin("take", 2)),
         []),
        (recovery(pin("take", 2), more=", again_from: pin")
         + fore(FROM_PIN, LOST, TAKE, pin("take", 2)), []),
        # A recovery takes out what is not in any more, or never was.
        (recovery(pin("take", 6)) + fore(pin("fit", 2), LOST, TAKE, pin("take", 2)), ["SEQ080"]),
        (recovery(pin("take", 2)) + fore(pin("fit", 2), pin("take", 2), LOST, TAKE), ["SEQ080"]),
        # A recovery leaves in what nothing takes out; what the step is about is nobody's loss.
        (recovery(pin("fit", 2)) + fore(LOST, TAKE), ["SEQ070"]),
        (recovery(TAKE) + fore(LOST, TAKE), []),
    ],
)  # fmt: skip
def test_what_is_in_the_joint_is_followed_over_all_lanes_and_recoveries(
    tmp_path: Path, body: str, codes: list[str]
) -> None:
    """SQ16: A pin that is thought in and is not lets the length turn as it lands."""
    assert codes_of(write_sequence(tmp_path, body + "\n")) == codes


def test_a_recovery_is_told_of_where_it_is_written(tmp_path: Path) -> None:
    """The step is right as it stands: the line to mend is in the policy."""
    body = recovery(pin("take", 2)) + fore(pin("fit", 2), LOST, TAKE, pin("take", 2))
    path = write_sequence(tmp_path, body + "\n")
    (one,) = findings_of(path)

    line = path.read_text(encoding="utf-8").splitlines()[one.line - 1]
    assert line[one.column - 1 :].startswith("take_pin")
    assert line.startswith("policies")
    assert "pin in hole 2" in one.what
