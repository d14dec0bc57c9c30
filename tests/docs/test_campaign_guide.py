"""The test that the guide of campaigns shows to users runs as it stands there."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.house import ROOT

GUIDE = ROOT / "coordinator" / "campaign" / "README.md"


def test_the_pytest_example_of_the_guide_passes(tmp_path: Path) -> None:
    """Copied as it is, with nothing but what the guide names installed."""
    pytest.importorskip("hypothesis")
    (example,) = re.findall(r"^```python\n(.*?)^```$", GUIDE.read_text("utf-8"), re.M | re.S)
    path = tmp_path / "test_mine.py"
    path.write_text(example, encoding="utf-8")
    (tmp_path / "pytest.ini").write_text("[pytest]\n", encoding="utf-8")

    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", str(path)],
        cwd=ROOT,
        env={
            "PYTHONPATH": str(ROOT),
            "PATH": "",
            "HYPOTHESIS_STORAGE_DIRECTORY": str(tmp_path / "examples"),
        },
        capture_output=True,
        text=True,
        timeout=250,
        check=False,
    )

    assert done.returncode == 0, done.stdout
    assert "1 passed" in done.stdout
