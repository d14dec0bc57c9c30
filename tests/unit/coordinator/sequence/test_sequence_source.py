"""Reading: places are right, nothing is obeyed, everything is bounded."""

from pathlib import Path

import pytest

from coordinator.sequence.form.diagnostics import Findings
from coordinator.sequence.form.source import read_document
from coordinator.sequence.form.text import FILE_BYTES_MAX
from coordinator.sequence.form.tree import Document


def read(path: Path, text: str | bytes) -> tuple[Document | None, Findings]:
    """Write and read one file."""
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    findings = Findings()
    return read_document(path, path.parent, findings), findings


def test_every_key_and_value_knows_its_line_and_column(tmp_path: Path) -> None:
    """Messages point into the file; a place that is off by one sends the author astray."""
    document, _ = read(tmp_path / "a.yaml", "one: 1\ntwo:\n  - {three: x, four: y}\n")

    assert document is not None
    assert document.place(("one",)) == (1, 6)
    assert document.place(("one",), key=True) == (1, 1)
    assert document.place(("two", 0, "four")) == (3, 22)
    assert document.place(("two", 0, "four"), key=True) == (3, 16)
    assert document.place(("two", 0, "five")) == (3, 5)


def test_words_that_yaml_would_turn_into_something_else_stay_words(tmp_path: Path) -> None:
    """`on` is a parameter name of ours and a truth value of YAML 1.1."""
    document, _ = read(tmp_path / "a.yaml", 'on: off\nday: 2027-08-03\nn: 1_0\nq: "8"\nz: 08:30\n')

    assert document is not None
    assert document.tree.data == {
        "on": "off",
        "day": "2027-08-03",
        "n": "1_0",
        "q": "8",
        "z": "08:30",
    }


def test_plain_scalars_become_numbers_and_truth_values(tmp_path: Path) -> None:
    """Models are strict, so the reader says what is a number."""
    document, _ = read(tmp_path / "a.yaml", "[1, -2, 0.5, 1e3, yes, no, true, false, ~, x]")

    assert document is not None
    assert document.tree.data == (1, -2, 0.5, 1000.0, True, False, True, False, None, "x")


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ("a: &x 1\nb: *x\n", ["SEQ003", "SEQ003"]),
        ("a: !!python/object/apply:os.getcwd []\n", ["SEQ003"]),
        ("a: 1\na: 2\na: 3\n", ["SEQ004", "SEQ004"]),
        ("a: 1\n---\nb: 2\n", ["SEQ001"]),
        ("a: [1\n", ["SEQ001"]),
        ("", ["SEQ001"]),
        ("a:\tb\n\tc: d\n", ["SEQ001", "SEQ001"]),
        (b"a: \xff\n", ["SEQ001"]),
        ("a: \x00\n", ["SEQ001"]),
        ("[1, 2]: 3\n", ["SEQ008"]),
        ("[" * 40 + "]" * 40, ["SEQ002"]),
        ("[" + "1, " * 60_000 + "1]", ["SEQ002"]),
        ("# " + "x" * FILE_BYTES_MAX + "\n", ["SEQ002"]),
    ],
)
def test_a_hostile_file_is_refused(tmp_path: Path, text: str | bytes, codes: list[str]) -> None:
    """SQ1: A file is data: it must not run, grow or silently lose anything."""
    document, findings = read(tmp_path / "a.yaml", text)

    assert document is None
    assert [one.code for one in findings.all()] == codes


def test_aliases_that_would_grow_are_refused_before_they_do(tmp_path: Path) -> None:
    """SQ1: Nine levels of nine aliases each would be 387 million values."""
    rows = ["a0: &a0 [x]"]
    rows += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]" for n in range(1, 10)]
    document, findings = read(tmp_path / "a.yaml", "\n".join(rows))

    assert document is None
    assert {one.code for one in findings.all()} == {"SEQ003"}


def test_a_missing_file_is_told_as_a_finding(tmp_path: Path) -> None:
    """The author sees the same form of message for every mistake."""
    findings = Findings()

    assert read_document(tmp_path / "none.yaml", tmp_path, findings) is None
    assert [one.code for one in findings.all()] == ["SEQ001"]


def test_a_finding_is_shown_with_its_line_and_a_caret(tmp_path: Path) -> None:
    """The caret stands below the place that the column names."""
    _, findings = read(tmp_path / "a.yaml", "a: 1\nb: &x 2\n")

    shown = findings.all()[0].render().splitlines()

    assert shown[1:] == ["    2 | b: &x 2", "      |    ^"]
