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
