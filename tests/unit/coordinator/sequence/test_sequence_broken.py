"""Codes, samples and guide name the same mistakes, and each sample has exactly its own."""

import re
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from coordinator.sequence import (
    CODES,
    SequenceError,
    kind_of,
    load,
    read_case,
    read_cell,
    read_joint,
)
from coordinator.sequence.form.diagnostics import ADVICE
from tests.support.sequence_files import SEQUENCES

TODAY = date(2026, 11, 25)
SAMPLES = sorted((SEQUENCES / "broken").glob("*.yaml"))
READERS: dict[str, Callable[[Path], object]] = {
    "case": lambda path: read_case(path, {"burr": {"height": "length"}}, sides=("fore", "aft")),
    "cell": read_cell,
    "joint": read_joint,
    "sequence": lambda path: load(path, today=TODAY),
}


def read_any(path: Path) -> object:
    """Read a file as what its first key says it is; an unreadable one as a sequence."""
    return READERS[kind_of(path) or "sequence"](path)


def test_codes_samples_and_guide_name_the_same_mistakes() -> None:
    """An author who is told a code must find its heading and its sample."""
    guide = (SEQUENCES / "README.md").read_text(encoding="utf-8")
    headings = re.findall(r"^### (SEQ\d{3}): (.+)$", guide, re.MULTILINE)

    assert headings == list(CODES.items())
    assert [path.name[:6] for path in SAMPLES] == list(CODES)


def test_advice_that_never_changes_is_of_a_known_code_and_says_what_must_be() -> None:
    """A sentence that nobody is told, or that is no sentence, would stand there unseen."""
    assert [code for code in ADVICE if code not in CODES] == []
    assert all(sorted(one) == ["do", "must"] for one in ADVICE.values())
    assert all(one["must"].startswith("must ") and one["do"] for one in ADVICE.values())


def test_codes_are_numbered_without_a_gap() -> None:
    """A gap would hide a code that was taken out and could be used again."""
    assert list(CODES) == [f"SEQ{number:03}" for number in range(1, len(CODES) + 1)]


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_a_broken_sample_is_wrong_in_exactly_its_own_way(sample: Path) -> None:
    """SQ7, SQ10, SQ13, SQ17, SQ21: with a second mistake it would not show what refuses it."""
    with pytest.raises(SequenceError) as caught:
        read_any(sample)

    assert {one.code for one in caught.value.diagnostics} == {sample.name[:6]}


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_a_finding_says_what_is_what_must_be_and_what_to_do(sample: Path) -> None:
    """The house form of a message, so that people and editors can rely on it."""
    form = r".+\.yaml:\d+:\d+: .+, must .+; .+ \[SEQ\d{3}\]"
    with pytest.raises(SequenceError) as caught:
        read_any(sample)

    for one in caught.value.diagnostics:
        assert re.fullmatch(form, str(one)), str(one)
        lines = Path(one.file).read_text(encoding="utf-8").splitlines()
        assert 1 <= one.line <= len(lines)
        assert 1 <= one.column <= len(lines[one.line - 1]) + 1


def test_the_parts_of_broken_samples_are_sound_by_themselves() -> None:
    """Else a sample would fail for the wrong reason."""
    parts = sorted((SEQUENCES / "broken" / "parts").glob("*.yaml"))

    cells = ["one_spinner", "overdue_wrench", "small_socket", "two_zones"]
    assert [read_cell(part).cell for part in parts] == cells
