"""What listens to unit tests hears a process, a connection, and a file in the wrong place."""

import shutil
import subprocess
import sys
from pathlib import Path

from tests.support.house import ROOT

NOT_ALONE = """
import socket, subprocess
def test_process(): subprocess.run(["true"], check=True)
def test_net():
    with socket.socket() as one: one.connect_ex(("127.0.0.1", 9))
def test_file(): open(__file__ + ".left", "w").close()
def test_alone(tmp_path): (tmp_path / "file").write_text("kept")
"""


def test_a_unit_test_that_is_not_alone_fails_and_one_that_is_does_not(tmp_path: Path) -> None:
    """A watch that hears nothing would let everything back into the folder."""
    shutil.copy(ROOT / "tests" / "unit" / "conftest.py", tmp_path)
    (tmp_path / "test_some.py").write_text(NOT_ALONE, encoding="utf-8")
    # Else the folder of this test would count as one in which a unit test may write.
    own = {"TMPDIR": str(tmp_path / "own"), "PATH": "/usr/bin:/bin"}
    (tmp_path / "own").mkdir()

    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "pytest",
            "-q",
            "-p",
            "no:randomly",
            "-p",
            "no:xdist",
            str(tmp_path),
        ],
        cwd=tmp_path,
        env=own,
        capture_output=True,
        text=True,
        check=False,
    )

    failed = [
        line.split("::")[1].split()[0] for line in done.stdout.splitlines() if "ERROR" in line[:5]
    ]
    assert failed == ["test_process", "test_net", "test_file"], done.stdout
    assert "4 passed, 3 errors" in done.stdout
