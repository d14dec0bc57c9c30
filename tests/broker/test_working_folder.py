"""A run takes no code from the folder that it is started in."""

import subprocess
import sys
from pathlib import Path

from tests.support.sequence_files import SEQUENCES


def test_a_module_that_lies_in_the_working_folder_is_not_run(tmp_path: Path) -> None:
    """A `json.py` beside a sequence was executed by every party and by the page."""
    (tmp_path / "json.py").write_text("open('ran', 'w')\nraise SystemExit(1)\n")
    park = SEQUENCES / "park.yaml"
    program = Path(sys.executable).with_name("bothsides")

    done = subprocess.run(
        [program, "run", park, "--speed", "50", "--page", "--page-at", "127.0.0.1:0"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.returncode == 0, done.stderr
    assert not (tmp_path / "ran").exists()
