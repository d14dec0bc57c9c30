"""Error codes: what the source can say and what the error reference explains are one list."""

import re

from coordinator.bolting.errors import BOLTING_ERROR_CODES
from tests.support.house import ROOT, SOURCES, python_files

RETIRED = ("BLT011", "BLT013")
"""Of functions that are gone; never used again."""
FAMILIES = ("SEQ", "BLT", "LNK", "JNL", "REC", "PAG", "CLI")
SOURCE = "\n".join(path.read_text(encoding="utf-8") for path in python_files(*SOURCES))
GUIDE = (ROOT / "sequences" / "README.md").read_text(encoding="utf-8")
HEADINGS = re.findall(r"^### ([A-Z]{3}\d{3}): (.+)$", GUIDE, re.MULTILINE)


def test_the_codes_in_the_source_are_the_headings_of_the_error_reference() -> None:
    """Whoever is told a code must find its heading, and no heading explains what cannot be."""
    used = set(re.findall(rf"\b(?:{'|'.join(FAMILIES)})\d{{3}}\b", SOURCE))
    used |= set(re.findall(r"\[([A-Z]{3}\d{3})\]", SOURCE))

    assert sorted(used) == sorted(code for code, _ in HEADINGS)


def test_no_code_has_two_headings_or_leaves_a_gap_in_its_family() -> None:
    """A gap would hide a code that was taken out and could be used again."""
    for family in FAMILIES:
        codes = [code for code, _ in HEADINGS if code.startswith(family)]
        known = len(codes) + sum(one.startswith(family) for one in RETIRED)
        numbered = [f"{family}{number:03}" for number in range(1, known + 1)]

        assert codes == [one for one in numbered if one not in RETIRED]


def test_the_headings_of_the_bolting_codes_say_what_the_package_says() -> None:
    """One sentence for one mistake."""
    told = {code: text for code, text in HEADINGS if code.startswith("BLT")}

    assert told == dict(BOLTING_ERROR_CODES)


def test_every_heading_of_the_error_reference_is_followed_by_an_explanation() -> None:
    """A code alone helps nobody."""
    bodies = re.split(r"^### .+$", GUIDE.split("\n## Errors\n", 1)[1], flags=re.MULTILINE)[1:]

    assert len(bodies) == len(HEADINGS)
    assert all(body.split("\n## ")[0].strip().endswith(".") for body in bodies)
