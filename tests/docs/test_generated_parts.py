"""The guides say what the code says: generated parts are equal, links lead somewhere."""

import re
from typing import get_args

import pytest

from coordinator.wire.messages import RefusalReason
from tests.support.generated_parts import GUIDES, PARTS, parts_of
from tests.support.house import ROOT, place, shipped_files


def test_every_generated_part_stands_in_exactly_one_guide() -> None:
    """A part that is nowhere would be compared with nothing."""
    found = [name for guide in GUIDES for name, _ in parts_of((ROOT / guide).read_text("utf-8"))]

    assert sorted(found) == sorted(PARTS)


@pytest.mark.parametrize("guide", GUIDES)
def test_the_generated_parts_of_a_guide_equal_what_the_code_declares(guide: str) -> None:
    """Write them anew with `python -m tests.support.generated_parts`."""
    parts = parts_of((ROOT / guide).read_text(encoding="utf-8"))

    assert parts
    assert parts == [(name, PARTS[name]()) for name, _ in parts]


def test_the_wire_guide_tells_exactly_the_reasons_for_a_refusal() -> None:
    """Whoever writes a party of his own reads them there, in the order of the contract."""
    text = (ROOT / "coordinator/wire/README.md").read_text(encoding="utf-8")
    section = text.split("## Reasons for a refusal\n", 1)[1].split("\n## ", 1)[0]

    assert re.findall(r"^\| `(\w+)` \|", section, re.MULTILINE) == list(get_args(RefusalReason))


def test_every_link_between_guides_leads_to_something() -> None:
    """A reader who follows a dead link is lost."""
    links = [
        (path, target.partition("#")[0])
        for path in shipped_files()
        if path.suffix == ".md"
        for target in re.findall(r"\]\(([^)\s]+)\)", path.read_text(encoding="utf-8"))
        if not target.startswith(("http:", "https:", "#"))
    ]

    assert links
    assert [
        (place(path), to) for path, to in links if not (path.parent / to).resolve().exists()
    ] == []
