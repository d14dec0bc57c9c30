"""Reformatting, on every shipped file and on any small one: settled at once, and nothing lost."""

import re
from dataclasses import replace
from pathlib import Path
from shutil import copytree

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from coordinator.sequence import load, reformat
from coordinator.sequence.format import comments_of, format_text
from tests.support.examples import times
from tests.support.sequence_files import SEQUENCES

SHIPPED = sorted(
    path for path in SEQUENCES.rglob("*.yaml") if "broken" not in path.relative_to(SEQUENCES).parts
)


def widened(text: str, factor: int) -> str:
    """Return a file with every indentation `factor` times as deep, list items as well."""
    deep = re.sub(r"^( +)", lambda found: found[1] * factor, text, flags=re.MULTILINE)
    item = "-" + " " * (2 * factor - 1)
    return re.sub(r"^( *)- ", lambda found: found[1] + item, deep, flags=re.MULTILINE)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_shipped_file_stands_in_the_layout_already(path: Path) -> None:
    """The first files that an author copies show the layout."""
    text = path.read_text(encoding="utf-8")

    assert format_text(text) == text


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
@pytest.mark.parametrize("factor", [2, 3])
def test_a_shipped_file_with_wide_indents_comes_back_as_shipped(path: Path, factor: int) -> None:
    """Comments find their place again, not only their text; trailing ones keep their distance."""
    text = path.read_text(encoding="utf-8")
    wide = widened(text, factor)

    formatted = format_text(wide)

    assert wide != text or "\n " not in text
    assert comments_of(formatted) == comments_of(text)
    assert [line.split("#")[0].rstrip() for line in formatted.splitlines()] == [
        line.split("#")[0].rstrip() for line in text.splitlines()
    ]
    assert format_text(formatted) == formatted


def test_a_reformatted_sequence_makes_the_same_plan(tmp_path: Path) -> None:
    """Equal in all that the core reads; only places in the file and digests may move."""
    copytree(SEQUENCES, tmp_path / "sequences")
    names = ("makeup.yaml", "cells/sill_point.yaml", "joints/airlift_16in_8.yaml")
    before = load(tmp_path / "sequences" / "makeup_8.yaml").plan
    for name in names:
        path = tmp_path / "sequences" / name
        path.write_text(widened(path.read_text(encoding="utf-8"), 2), encoding="utf-8")

    changed = [reformat(tmp_path / "sequences" / name) for name in names]

    assert changed == [True, True, True]
    after = load(tmp_path / "sequences" / "makeup_8.yaml").plan
    assert replace(after, digest="") == replace(before, digest="")
    assert not any(reformat(tmp_path / "sequences" / name) for name in names)


WORDS = st.sampled_from(
    [
        "x",
        "no",
        "8.8",
        "2-8UN",
        "a: b",
        "# no",
        "it's",
        '"q"',
        "-",
        "$pair.own",
        "1e3",
        "ü",
        " pad ",
    ]
)
COMMENT = st.sampled_from(["", "# one", "#two  ", "# a # b"])


@settings(max_examples=times(60), deadline=None)
@given(
    st.lists(
        st.tuples(WORDS, st.sampled_from(["'", '"']), COMMENT, COMMENT, st.integers(0, 5)),
        min_size=1,
        max_size=8,
    ),
    st.integers(1, 6),
)
def test_any_small_file_keeps_its_values_and_comments_and_is_settled_at_once(
    rows: list[tuple[str, str, str, str, int]], indent: int
) -> None:
    """Quotes of either kind, comments above and behind, at any depth of indentation."""
    lines = ["top:"]
    for number, (word, quote, above, behind, column) in enumerate(rows):
        if above:
            lines.append(" " * column + above)
        escaped = word.replace("'", "''") if quote == "'" else word.replace('"', '\\"')
        line = f"{' ' * indent}k{number}: {quote}{escaped}{quote}"
        lines.append(f"{line}  {behind}" if behind else line)
    text = "\n".join(lines) + "\n"

    formatted = format_text(text)

    assert comments_of(formatted) == comments_of(text)
    assert len(comments_of(text)) == sum(bool(one) for row in rows for one in row[2:4])
    assert format_text(formatted) == formatted
    # PyYAML's own loader is the witness: a quoted text is a text before and after.
    assert {
        key: str(value) for key, value in yaml.load(formatted, yaml.BaseLoader)["top"].items()
    } == {f"k{number}": row[0] for number, row in enumerate(rows)}
