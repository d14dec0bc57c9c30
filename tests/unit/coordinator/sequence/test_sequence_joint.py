"""Joint figures: torque follows from stress, friction and thread as published."""

from pathlib import Path

import pytest
from scipy import constants

from coordinator.sequence import SequenceError, read_joint
from tests.support.sequence_files import SEQUENCES

JOINT = SEQUENCES / "joints" / "airlift_16in_8.yaml"
POUND_FOOT_NM = constants.pound_force * constants.foot


def with_changes(folder: Path, *changes: tuple[str, str]) -> Path:
    """Write the shipped joint with changes and return its path."""
    text = JOINT.read_text(encoding="utf-8")
    for before, after in changes:
        assert before in text
        text = text.replace(before, after)
    path = folder / "joint.yaml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("thread", "hex_in", "expected_lbf_ft"),
    [("2-8UN", 3.125, 2297), ("1 1/2-8UN", 2.375, 962), ("1-8UNC", 1.625, 279)],
)
def test_the_target_torque_is_that_of_the_oilfield_table(
    tmp_path: Path, thread: str, hex_in: float, expected_lbf_ft: float
) -> None:
    """SQ24: API Spec 6A, annex on flange bolt torque, f 0.07 and 52.5 ksi, to half a pound-foot."""
    path = with_changes(
        tmp_path, ("thread: 2-8UN", f"thread: {thread}"), ("3.125 in ", f"{hex_in} in ")
    )

    figures = read_joint(path)

    assert figures.torque_nm / POUND_FOOT_NM == pytest.approx(expected_lbf_ft, abs=0.6)


def test_rounds_are_shares_of_the_target_with_the_tolerance_about_them() -> None:
    """ASME PCC-1 rounds, as the shipped joint writes them."""
    figures = read_joint(JOINT)

    assert [one.number for one in figures.rounds] == [1, 2, 3]
    for one, share in zip(figures.rounds, (0.3, 0.6, 1.0), strict=True):
        assert one.torque_nm == pytest.approx(share * figures.torque_nm)
        assert one.torque_least_nm == pytest.approx(share * figures.torque_nm * 0.95)
        assert one.torque_most_nm == pytest.approx(share * figures.torque_nm * 1.05)


def test_preload_is_half_of_the_yield_load_at_half_of_the_yield_stress() -> None:
    """52.5 ksi is half of the 105 ksi of ASTM A193 B7; torque and preload go together."""
    figures = read_joint(JOINT)

    assert figures.proof_load_n == pytest.approx(2.0 * figures.preload_n)
    assert figures.proof_torque_nm == pytest.approx(2.0 * figures.torque_nm)
    assert figures.preload_at_n(figures.torque_nm) == pytest.approx(figures.preload_n)


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (("count: 8", "count: 9"), "SEQ053"),
        (("count: 8", "count: 40"), "SEQ009"),
        (("rounds: [30 %, 60 %, 100 %]", f"rounds: [{'9 %, ' * 9}]"), "SEQ009"),
        (("rounds: [30 %, 60 %, 100 %]", "rounds: []"), "SEQ009"),
        (("rounds: [30 %, 60 %, 100 %]", "rounds: [60 %, 30 %, 100 %]"), "SEQ009"),
        (("rounds: [30 %, 60 %, 100 %]", "rounds: [30 %, 60 %, 90 %]"), "SEQ009"),
        (("rounds: [30 %, 60 %, 100 %]", "rounds: [30 %, 100 %, 120 %]"), "SEQ009"),
        (("grade: A193 B7", "grade: A193 C9"), "SEQ053"),
        (("stress: 52.5 ksi", "stress: 110 ksi"), "SEQ049"),
        (("stress: 52.5 ksi", "stress: 52.5 mm"), "SEQ012"),
    ],
)
def test_a_joint_beyond_the_tables_is_refused(
    tmp_path: Path, change: tuple[str, str], code: str
) -> None:
    """No figure is guessed."""
    with pytest.raises(SequenceError) as caught:
        read_joint(with_changes(tmp_path, change))

    assert [one.code for one in caught.value.diagnostics] == [code]
