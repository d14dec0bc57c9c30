"""Compiled modules are used where they are asked for, and only for the sources they are made of."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

from coordinator.compiled import PACKAGES, VARIABLE, digest
from tests.support.house import ROOT

ASK = "import coordinator.core.zones as zones; print(zones.__file__)"


def _run(folder: Path) -> subprocess.CompletedProcess[str]:
    """Tell where a module of the core comes from, with `folder` asked for."""
    return subprocess.run(
        [sys.executable, "-c", ASK],
        cwd=ROOT,
        env={**os.environ, VARIABLE: str(folder)},
        capture_output=True,
        text=True,
        check=True,
    )


def test_what_was_compiled_from_other_sources_is_not_used_and_that_is_told(tmp_path: Path) -> None:
    """PV23: a stale file that ran silently would prove what is no longer there."""
    there = tmp_path / ("0" * 32) / "coordinator" / "core"
    there.mkdir(parents=True)
    shutil.copy(ROOT / "coordinator" / "core" / "zones.py", there)

    ran = _run(tmp_path)

    assert ran.stdout.strip() == str(ROOT / "coordinator" / "core" / "zones.py")
    assert f"python -m coordinator.compiled {tmp_path}" in ran.stderr


def test_what_was_compiled_from_these_sources_comes_before_them(tmp_path: Path) -> None:
    """A source stands in for the library here, since compiling takes minutes."""
    there = tmp_path / digest() / "coordinator" / "core"
    there.mkdir(parents=True)
    shutil.copy(ROOT / "coordinator" / "core" / "zones.py", there)

    ran = _run(tmp_path)

    assert (ran.stdout.strip(), ran.stderr) == (str(there / "zones.py"), "")


def test_any_change_of_a_source_changes_the_name_that_is_looked_for(tmp_path: Path) -> None:
    """PV23: in each package one byte is enough."""
    names = [digest()]
    for package in PACKAGES:
        root = tmp_path / package
        shutil.copytree(ROOT / "coordinator", root, ignore=shutil.ignore_patterns("__pycache__"))
        assert digest(root) == names[0]
        edited = max((root / package).glob("[a-z]*.py"))
        edited.write_bytes(edited.read_bytes() + b"\n")
        names.append(digest(root))

    assert len(set(names)) == 1 + len(PACKAGES)
