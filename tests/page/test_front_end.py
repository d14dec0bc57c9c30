"""The built front end is what its sources give: the same bytes from pinned tools."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

PAGE = Path(__file__).parents[2] / "coordinator" / "page"
BUILT = ("console.js", "console.css")
LIBRARIES = ("preact",)
pytestmark = pytest.mark.broker


@pytest.fixture(scope="module")
def front(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a copy of the sources with the pinned tools beside it."""
    if shutil.which("npm") is None:
        pytest.skip("npm is not installed: the built files are not compared with their sources")
    front = tmp_path_factory.mktemp("page") / "front"
    shutil.copytree(PAGE / "front", front, ignore=shutil.ignore_patterns("node_modules"))
    (front.parent / "files").mkdir()
    said = run(front, "ci", "--prefer-offline")
    if said.returncode and any(word in said.stderr for word in ("ENOTFOUND", "ETIMEDOUT", "EAI_")):
        pytest.skip(f"the registry of npm is not reached: {said.stderr.splitlines()[0]}")
    assert said.returncode == 0, said.stderr
    return front


def run(front: Path, *words: str) -> "subprocess.CompletedProcess[str]":
    words = ("npm", *words)
    environ = {**os.environ, "NO_UPDATE_NOTIFIER": "1"}
    return subprocess.run(
        words, cwd=front, env=environ, capture_output=True, text=True, timeout=120, check=False
    )


def test_the_types_of_the_front_end_are_sound(front: Path) -> None:
    """What a state may be without is asked for before it is shown."""
    said = run(front, "run", "--silent", "check")

    assert (said.returncode, said.stdout) == (0, "")


def test_the_committed_files_are_built_from_these_sources(front: Path) -> None:
    """A page that nobody can build again could show anything."""
    said = run(front, "run", "--silent", "build")

    assert said.returncode == 0, said.stderr
    for name in BUILT:
        built, kept = (front.parent / "files" / name).read_bytes(), PAGE / "files" / name
        assert built == kept.read_bytes(), f"{name}: run 'npm ci && npm run build' in page/front"


def test_every_library_in_the_built_files_has_its_licence_beside_them(front: Path) -> None:
    """Their licences ask for it."""
    kept = (PAGE / "files" / "LICENSES.txt").read_text(encoding="utf-8")

    for name in LIBRARIES:
        assert (front / "node_modules" / name / "LICENSE").read_text(encoding="utf-8") in kept


def test_nothing_in_the_built_files_is_loaded_from_elsewhere() -> None:
    """The page works on a network without a way out."""
    for name in (*BUILT, "index.html"):
        text = (PAGE / "files" / name).read_text(encoding="utf-8")
        found = [part.split('"')[0] for part in text.split("http")[1:]]
        assert [
            one for one in found if "w3.org" not in one and one.startswith(("://", "s://"))
        ] == []
