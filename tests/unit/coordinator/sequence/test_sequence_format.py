"""Reformatting changes the layout alone: comments and meaning stay, and twice is once."""

from pathlib import Path

import pytest

from coordinator.sequence import FormatError, SequenceError, reformat
from coordinator.sequence.format import format_text

UGLY = """# head, ü and # inside #
a:   'x'   # one
b:
      # deep one
      - c: "8.8"   # two
        d: "yes"
        # about d above
      - 'it''s # no comment'
      # last of b
    # odd
e: {x: [ {y: 1}, {z: "a: b"} ],
    w: 'no', v: no}
f: |
  text # not a comment
  more
# before g
g: long text
   over two lines
i: '2'
j: 2.50
# end
"""
NEAT = """# head, ü and # inside #
a: x       # one
b:
  # deep one
  - c: "8.8"       # two
    d: "yes"
    # about d above
  - "it's # no comment"
  # last of b
# odd
e: {x: [{y: 1}, {z: "a: b"}], w: "no", v: no}
f: |
  text # not a comment
  more
# before g
g: long text over two lines
i: "2"
j: 2.50
# end
"""


def test_an_ugly_file_comes_out_in_the_layout_of_the_house() -> None:
    """SQ8: Indentation, quotes, folded text and comments, seen as an author sees them."""
    assert format_text(UGLY) == NEAT


def test_a_comment_that_cannot_be_kept_leaves_the_file_as_it_is(tmp_path: Path) -> None:
    """SQ8: Between the lines of one pair of braces there is no place for it; losing it is worse."""
    path = tmp_path / "a.yaml"
    text = "joint: a\ne: {x: 1,  # why\n    y: 2}\n"
    path.write_text(text, encoding="utf-8")

    with pytest.raises(FormatError, match="would change a comment"):
        reformat(path)

    assert path.read_text(encoding="utf-8") == text
    assert [one.name for one in tmp_path.iterdir()] == ["a.yaml"]


def test_a_file_that_cannot_be_read_is_left_as_it_is(tmp_path: Path) -> None:
    """SQ8: A tab or a key twice is the author's to settle."""
    path = tmp_path / "a.yaml"
    path.write_text("a: 1\na: 2\n", encoding="utf-8")

    with pytest.raises(SequenceError, match="SEQ004"):
        reformat(path)

    assert path.read_text(encoding="utf-8") == "a: 1\na: 2\n"


def test_the_mode_of_a_file_stays(tmp_path: Path) -> None:
    """Who may read a file is not the formatter's to change."""
    path = tmp_path / "a.yaml"
    path.write_text("a:   1\n", encoding="utf-8")
    path.chmod(0o640)

    assert reformat(path)

    assert path.read_text(encoding="utf-8") == "a: 1\n"
    assert path.stat().st_mode & 0o777 == 0o640
