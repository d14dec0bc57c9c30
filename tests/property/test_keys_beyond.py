"""Mistakes of form and of meaning are told at once, and none that is not there."""

from collections.abc import Iterator
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap

from tests.support.altered_files import MAKEUP, copied
from tests.support.sequence_files import SEQUENCES, codes_of, findings_of, write_sequence

TEXT = (SEQUENCES / MAKEUP).read_text(encoding="utf-8")
STRIDE = 7
"""Of the mappings of the shipped make-up every so many is spoilt; a prime, so all kinds come."""


def mappings(value: Any) -> Iterator[CommentedMap]:
    """Yield every mapping of a file, outermost first."""
    if isinstance(value, CommentedMap):
        yield value
        for one in value.values():
            yield from mappings(one)
    elif isinstance(value, list):
        for one in value:
            yield from mappings(one)


COUNT = sum(1 for _ in mappings(YAML().load(TEXT)))


def spoilt(folder: Path, number: int, *, misspell: bool) -> Path:
    """Write the make-up with one mapping spoilt: a key too many, or its first key misspelt."""
    writer = YAML()
    data = writer.load(TEXT)
    found = list(mappings(data))[number]
    if misspell:
        first = next(iter(found))
        found.insert(0, f"x{first}x", found.pop(first))
    else:
        found["speed"] = 3
    out = StringIO()
    writer.dump(data, out)
    path = copied(folder) / MAKEUP
    path.write_text(out.getvalue(), encoding="utf-8")
    return path


@pytest.mark.parametrize("number", range(0, COUNT, STRIDE))
def test_a_key_too_many_is_all_that_is_told_of_a_sound_file(tmp_path: Path, number: int) -> None:
    """SQ5: What is put aside must not look like a mistake somewhere else."""
    told = findings_of(spoilt(tmp_path, number, misspell=False))

    assert len({one.line for one in told}) == 1
    assert {one.code for one in told} <= {"SEQ006", "SEQ008", "SEQ009", "SEQ010", "SEQ015"}


@pytest.mark.parametrize("number", range(3, COUNT, STRIDE))
def test_a_misspelt_key_is_told_alone(tmp_path: Path, number: int) -> None:
    """SQ5: It may be missed as well, and a name that is looked up may be gone; nothing else."""
    codes = {*codes_of(spoilt(tmp_path, number, misspell=True))}

    assert codes
    assert codes <= {"SEQ006", "SEQ007"} or len(codes) == 1 or codes <= LOOKED_UP


LOOKED_UP = {*("SEQ013", "SEQ015", "SEQ016", "SEQ023", "SEQ024", "SEQ025", "SEQ026", "SEQ030")} | {
    *("SEQ031", "SEQ033", "SEQ034", "SEQ044", "SEQ038", "SEQ007", "SEQ006", "SEQ045", "SEQ070"),
    *("SEQ020", "SEQ040", "SEQ064", "SEQ071", "SEQ080"),  # What leaned on a name that is gone.
}


def test_meaning_is_told_beside_form_with_its_place(tmp_path: Path) -> None:
    """Whoever corrects a file wants all of its mistakes before the next try."""
    body = """barriers:
  meet: {timeout: 5 minuts}
policies:
  careful: {not_lokated: {attempts: 2}}
lanes:
  fore:
    - {do: locate_joint, policy: careful}
    - {do: chnge_tool, with: {tool: wrench}}
    - barier: meet
    - {do: locate_hole, with: {bolt: 10}, policy: carefull}
  aft:
    - {do: park, speed: 3}
    - barrier: meet
    - {do: locate_hole, with: {bolt: 9}}
"""
    path = write_sequence(tmp_path, body)

    told = [(one.line, one.column, one.code) for one in findings_of(path)]

    assert told == [
        (8, 19, "SEQ011"),
        (10, 13, "SEQ030"),
        (14, 12, "SEQ014"),
        (15, 7, "SEQ006"),
        (16, 38, "SEQ017"),
        (16, 51, "SEQ023"),
        (18, 18, "SEQ006"),
        (20, 38, "SEQ017"),
    ]


def test_a_paired_barrier_is_judged_before_its_span_is_found(tmp_path: Path) -> None:
    """The band and the closing barrier stand in the declaration, whatever the lanes say."""
    body = """barriers:
  pull: {timeout: 5 min, paired_until: puled, balance: 600 Nm, stop: 3 s}
  pulled: {timeout: 5 min}
lanes:
  fore: [{barrier: pull}, {barrier: pulled}]
  aft: [{barrier: pull}, {barrier: pulled}]
"""

    told = findings_of(write_sequence(tmp_path, body))

    assert [(one.line, one.column, one.code, one.do) for one in told] == [
        (8, 40, "SEQ033", "did you mean 'pulled' or 'pull'?"),
        (8, 56, "SEQ012", "did you mean '600 N.m'?"),
    ]


def test_a_section_that_may_be_misspelt_is_not_missed_all_over_the_file(tmp_path: Path) -> None:
    """`policys` is one mistake, not one for each step that names a policy."""
    body = """policys:
  careful: {not_located: {attempts: 2}}
lanes:
  fore:
    - {do: locate_joint, policy: careful}
    - {do: chnge_tool, with: {tool: wrench}}
"""

    assert codes_of(write_sequence(tmp_path, body)) == ["SEQ006", "SEQ014"]


def test_every_key_that_is_missing_is_told(tmp_path: Path) -> None:
    """They miss at one place, so the place must not hide one behind the other."""
    path = write_sequence(tmp_path, "lanes: {fore: [{do: park}]}\n", head="sequence: small\n")

    missing = [one.what for one in findings_of(path)]

    assert missing == [f"key {one!r} is missing" for one in ("text", "cell", "joint", "begins")]


def test_a_file_that_is_not_there_is_told_where_it_is_named(tmp_path: Path) -> None:
    """The place to correct is the line that names it, and the right name is mostly near."""
    head = """sequence: small
text: a small sequence
cell: cells/sill_pint.yaml
joint: joints/airlift_16in_9.yaml
begins: joint_open
"""
    path = write_sequence(tmp_path, "lanes: {fore: [{do: park}]}\n", head=head)

    told = findings_of(path)

    assert [(one.file, one.line, one.column, one.code) for one in told] == [
        (str(path), 3, 7, "SEQ001"),
        (str(path), 4, 8, "SEQ001"),
    ]
    assert "did you mean 'cells/sill_point.yaml'" in told[0].do
    assert "did you mean 'joints/airlift_16in_8.yaml'" in told[1].do
