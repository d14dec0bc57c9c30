"""A run on a real bus ticks the cause-and-effect matrix by what its journal says."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.support.brokers import MOSQUITTO, mosquitto
from tests.support.short_sequence import write_short_sequence

pytestmark = [pytest.mark.broker, pytest.mark.timeout(120)]
CASE = """case: a_person_steps_in
causes:
  - {cause: person_steps_in, at: 20 s, for: 6 s}
acts:
  - {act: start, at: 10 s, by: mate}
  - {act: restart, when: held, after: 12 s, by: mate}
  - {act: reset, when: held, after: 2 s, by: mate}
  - {act: restart, when: held, after: 2 s, by: mate}
"""


def bothsides(*words: str) -> tuple[int, dict[str, Any], str]:
    """Run a verb."""
    done = subprocess.run(
        [sys.executable, "-m", "coordinator.cli.app", *words, "--json"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout, done.stderr
    return done.returncode, json.loads(done.stdout), done.stderr


@pytest.mark.skipif(MOSQUITTO is None, reason="Mosquitto is not installed")
def test_a_person_who_steps_in_during_a_live_run_ticks_the_cells_of_that_trip(
    tmp_path: Path,
) -> None:
    """On a real bus nobody ticks by hand either; the other cells stay untested."""
    sequence, case = write_short_sequence(tmp_path), tmp_path / "case.yaml"
    case.write_text(CASE, encoding="utf-8")
    (tmp_path / "broker").mkdir()
    with mosquitto(tmp_path / "broker") as port:
        broker = ("--broker", f"mqtt://127.0.0.1:{port}", "--speed", "4", "--look-ahead", "0")
        out = ("--out", str(tmp_path / "out"))
        code, ran, told = bothsides("run", str(sequence), "--case", str(case), *out, *broker)
        assert code == 0, told
    words = ("--runs", str(tmp_path / "out"), "--book", str(tmp_path / "book"))

    code, document, _ = bothsides("commission", "matrix", str(sequence), *words)

    assert code == 1  # Far from all was tried.
    ticked = {one["name"]: one["simulated"] for one in document["cells"]
              if one["simulated"]["result"] != "untested"}  # fmt: skip
    trip = "person_on_floor false:"
    assert set(ticked) == {
        f"{trip} both arms hold",
        f"{trip} latched until reset",
        f"{trip} clearing moves nothing",
    }
    assert {one["result"] for one in ticked.values()} == {"passed"}
    assert all(one["reference"].startswith(ran["run"]) for one in ticked.values())
    again = bothsides("commission", "matrix", str(sequence), *words)[1]
    assert again["cells"] == document["cells"]  # A journal is judged once.
