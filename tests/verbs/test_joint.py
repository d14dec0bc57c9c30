"""The verb `joint`: rounds until the scatter is in the window, a given matrix, pictures."""

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from coordinator.cli.app import app
from tests.support.sequence_files import SEQUENCES

JOINT = SEQUENCES / "joints" / "airlift_16in_8.yaml"
PICTURES = ("torque_angle", "pressure_time", "bolt_loads", "tilt")


def told(*words: str) -> dict[str, object]:
    """Return what `joint --json` prints."""
    result = CliRunner().invoke(app, ["joint", *words, "--json"])
    assert result.exit_code == 0, result.output
    document: dict[str, object] = json.loads(result.stdout)
    return document


def with_flange(tmp_path: Path, flange: str, tolerance: str = "5 %") -> str:
    """Return the path of the airlift joint with another flange and window."""
    text = JOINT.read_text(encoding="utf-8").split("\nflange:\n")[0]
    text = text.replace("tolerance: 5 %", f"tolerance: {tolerance}")
    path = tmp_path / "joint.yaml"
    path.write_text(f"{text}\nflange:\n{flange}\n", encoding="utf-8")
    return str(path)


def test_the_rounds_until_every_load_is_in_its_window_are_told_for_each_way() -> None:
    """The loads of the last round lie in the window, those of the round before do not."""
    rounds = told(str(JOINT))["rounds"]

    assert isinstance(rounds, dict)
    assert list(rounds) == ["opposite", "cross", "around"]
    for way in rounds.values():
        last, before = np.array(way["loads_n"][-1]), np.array(way["loads_n"][-2])
        target_n = 52.5e3 * 6894.757293168361 * 2.771 * 0.0254**2  # Published area, PCC-1 H-1.
        assert np.abs(last / target_n - 1.0).max() < 0.05 < np.abs(before / target_n - 1.0).max()
        assert way["needed"] == len(way["loads_n"]) == 3


def test_a_softer_face_and_a_narrower_window_need_more_rounds(tmp_path: Path) -> None:
    """Faces that give more let each pull take more off the bolts pulled before."""
    soft = with_flange(tmp_path, "  stiffness: 2", "2 %")

    rounds = told(soft)["rounds"]

    assert isinstance(rounds, dict)
    assert rounds["opposite"]["needed"] > 3


def test_a_given_influence_matrix_stands_in_for_plate_and_ring(tmp_path: Path) -> None:
    """Bolts that do not touch each other's load are right after one pass, whatever the window."""
    rows = "\n".join(
        f"    - [{', '.join('1' if i == j else '0' for j in range(8))}]" for i in range(8)
    )
    path = with_flange(tmp_path, f"  influence:\n{rows}", "0.1 %")

    rounds = told(path)["rounds"]

    assert isinstance(rounds, dict)
    loads = np.array(rounds["around"]["loads_n"])
    assert rounds["around"]["needed"] == 3
    assert loads[0] / loads[2] == pytest.approx(np.full(8, 0.3), rel=1e-3)


@pytest.mark.parametrize(
    ("flange", "words"),
    [
        ("  influence: [[1, 0], [0, 1]]", ["has 2 rows of 2, 2 values", "must be 8 of 8"]),
        (
            "  influence: [" + ", ".join(["[1, 1, 0, 0, 0, 0, 0, 0]"] * 8) + "]",
            ["in column 1 bolt 1 gains 1 and the others change by 7", "SEQ009"],
        ),
        ("  pipe: 600 mm", ["pipe is 0.6 m outside", "must leave room for the hexes"]),
    ],
)
def test_a_flange_that_cannot_be_is_told_with_its_place(
    tmp_path: Path, flange: str, words: list[str]
) -> None:
    """File, line and column, what is and what must be."""
    path = with_flange(tmp_path, flange)
    result = CliRunner().invoke(app, ["joint", path])

    assert result.exit_code == 1
    said = result.output.replace("\n", " ")
    for word in words:
        assert word in said
    assert f"{path}:" in said


def test_the_pictures_are_drawn_twice_alike_and_say_what_they_are(tmp_path: Path) -> None:
    """A picture in a hand-over pack must not change from one drawing to the next."""
    drawn = [told(str(JOINT), "--figures", str(tmp_path / name))["drawn"] for name in "ab"]

    for name in PICTURES:
        first, second = (tmp_path / one / f"{name}.svg" for one in "ab")
        assert first.read_bytes() == second.read_bytes()
        assert (tmp_path / "a" / f"{name}.png").read_bytes()[:4] == b"\x89PNG"
    assert [len(one) for one in drawn if isinstance(one, list)] == [8, 8]


def test_a_folder_that_cannot_be_made_is_refused_in_a_line(tmp_path: Path) -> None:
    """A file stands where the folder should."""
    (tmp_path / "taken").write_text("", encoding="utf-8")

    result = CliRunner().invoke(app, ["joint", str(JOINT), "--figures", str(tmp_path / "taken")])

    assert result.exit_code == 2
    assert "name another folder" in result.output


TABLE = "pressure,torque\n7 MPa,780 N.m\n20 MPa,2290 N.m\n\n40 MPa,4620 N.m\n69 MPa,7900 N.m\n"


def with_table(tmp_path: Path, text: str) -> str:
    """Return the path of a calibration file."""
    path = tmp_path / "wrench.csv"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_the_pressure_of_each_round_is_read_from_the_table_and_divided_by_the_intensifier(
    tmp_path: Path,
) -> None:
    """The interpolation of numpy, at the torques that the document itself names."""
    document = told(
        str(JOINT), "--calibration", with_table(tmp_path, TABLE), "--intensifier", "3.3"
    )

    assert isinstance(document["figures"], list)
    found = {one["figure"]: one["value"] for one in document["figures"]}
    for number in (1, 2, 3):
        torque_nm = found[f"torque, round {number}"]
        tool_mpa = np.interp(torque_nm, [780, 2290, 4620, 7900], [7, 20, 40, 69])
        assert found[f"pressure at the tool, round {number}"] == pytest.approx(tool_mpa)
        assert found[f"pressure at the pump, round {number}"] == pytest.approx(tool_mpa / 3.3)


def test_a_torque_outside_the_table_is_told_and_not_guessed(tmp_path: Path) -> None:
    """Round 1 of the airlift joint is 934 N·m; a table from 2000 N·m on says nothing of it."""
    table = with_table(tmp_path, "pressure,torque\n20 MPa,2000 N.m\n40 MPa,4000 N.m\n")
    result = CliRunner().invoke(app, ["joint", str(JOINT), "--calibration", table, "--json"])
    document = json.loads(result.stdout)

    assert result.exit_code == 1
    assert [one[:20] for one in document["beyond"]] == [
        "round 1: torque is 9",
        "round 2: torque is 1",
    ]
    assert all("BLT009" in one for one in document["beyond"])
    figures = [one["figure"] for one in document["figures"] if "pressure at" in one["figure"]]
    assert figures == ["pressure at the tool, round 3"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", ":1:1: the first line is '', must be 'pressure,torque'"),
        ("torque,pressure\n", "must be 'pressure,torque'"),
        ("pressure,torque\n7 MPa\n", ":2:1: has 1 values, must have a pressure and a torque"),
        ("pressure,torque\n7 MPa,1 N.m\n8,2 N.m\n", ":3:1: value is '8', must be a pressure"),
        ("pressure,torque\n7 MPa,1 kN.m\n8 MPa,900 N.m\n", "torque is 900 after 1000, must rise"),
        ("pressure,torque\n7 MPa,1 kN.m\n", "must have as many of both and at least 2"),
    ],
)
def test_a_calibration_file_that_cannot_be_read_is_told_with_its_line(
    tmp_path: Path, text: str, words: str
) -> None:
    """What is there, what must be, and what to do, in one line; no figure is printed."""
    path = with_table(tmp_path, text)
    result = CliRunner().invoke(app, ["joint", str(JOINT), "--calibration", path])

    assert result.exit_code == 2
    assert words in result.output.replace("\n", " ")
    assert path in result.output
    assert "preload" not in result.output


def test_the_long_forms_the_friction_and_the_scatter_agree_with_their_formulas() -> None:
    """Written out by hand for 2-8UN, friction 0.07, heavy hex: API 6A, ISO 16047, worst case."""
    document = told(str(JOINT))
    assert isinstance(document["figures"], list)
    found = {(one["figure"], one["unit"]): one["value"] for one in document["figures"]}
    load_n = found["preload", "kN"] * 1e3
    inch_m = 0.0254
    pitch_m, major_m, flats_m = inch_m / 8, 2 * inch_m, 3.125 * inch_m
    mean_m, face_m = major_m - 0.649519 * pitch_m, (flats_m + major_m + inch_m / 8) / 2
    arm_m = mean_m / np.sqrt(3.0) + face_m / 2

    def wedge_m(friction: float) -> float:
        rub = friction * 2.0 / np.sqrt(3.0)
        slope = (pitch_m + np.pi * rub * mean_m) / (np.pi * mean_m - pitch_m * rub)
        return float(mean_m / 2 * slope + friction * face_m / 2)

    torque_nm = load_n * wedge_m(0.07)
    linear_nm = load_n * (pitch_m / (2 * np.pi) + 0.07 * arm_m)
    assert found["target torque, linear long form", "N·m"] == pytest.approx(linear_nm)
    solved = (torque_nm / load_n - pitch_m / (2 * np.pi)) / arm_m
    assert found["friction behind that torque", ""] == pytest.approx(solved, rel=1e-5)
    least, most = 0.96 * torque_nm / wedge_m(0.0875), 1.04 * torque_nm / wedge_m(0.0525)
    assert found["preload least, worst case", "kN"] * 1e3 == pytest.approx(least, rel=1e-5)
    assert found["preload most, worst case", "kN"] * 1e3 == pytest.approx(most, rel=1e-5)
    likely = 100 * np.hypot(0.04, wedge_m(0.07) / wedge_m(0.0525) - 1)
    assert found["likely scatter of preload, ±", "%"] == pytest.approx(likely, rel=1e-5)
    assert found["across flats of a standard nut", "mm"] == pytest.approx(flats_m * 1e3)
