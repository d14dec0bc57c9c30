"""The map of the house names every part of it, and the README's picture is what is shown now."""

import re

from tests.support.house import ROOT
from tests.support.picture import PICTURE, picture


def test_the_map_names_every_folder_and_file_of_the_house_and_nothing_else() -> None:
    """Whoever takes the house over must not find a room that the map leaves out."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    mapped = re.findall(r"^\| `([\w/.]+)` \|", text, re.MULTILINE)

    parts = [
        f"coordinator/{path.name}"
        for path in (ROOT / "coordinator").iterdir()
        if (path / "__init__.py").is_file() or path.suffix == ".py"
    ]
    there = [*parts, "sim_arms", "sequences", "tests"]
    assert sorted(mapped) == sorted(name for name in there if not name.endswith("__init__.py"))


def test_the_picture_of_a_run_is_what_a_run_shows_and_loads_nothing() -> None:
    """Write it anew with `python -m tests.support.picture`; a reader's browser fetches no font."""
    text = PICTURE.read_text(encoding="utf-8")

    assert text == picture()
    assert re.findall(r"url\((?!#)|@font-face|@import|href=", text) == []
