"""A sequence compared with itself, however it is written, is the same."""

from io import StringIO
from pathlib import Path

import pytest
from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap

from coordinator.compare import compare_sequences
from coordinator.sequence import load, reformat
from tests.support.altered_files import CELL, JOINT, MAKEUP, copied
from tests.support.sequence_files import SEQUENCES


def turned_about(text: str, keys: tuple[str, ...]) -> str:
    """Return a file with its keys, and the entries below some of them, the other way round."""
    writer = YAML()
    data = writer.load(text)
    for key in keys:
        data[key] = CommentedMap(reversed(list(data[key].items())))
    out = StringIO()
    writer.dump(CommentedMap(reversed(list(data.items()))), out)
    return out.getvalue()


def test_the_order_of_declarations_means_nothing(tmp_path: Path) -> None:
    """What a plan numbers in the order of the file must be compared by name."""
    target = copied(tmp_path)
    turned = {
        MAKEUP: ("barriers", "prompts", "policies", "exceptions", "blocks", "lanes"),
        CELL: ("signals", "interlocks", "faults", "actions", "timing"),
        JOINT: ("bolts", "tightening"),
    }
    for name, keys in turned.items():
        path = target / name
        turned_text = turned_about(path.read_text(encoding="utf-8"), keys)
        path.write_text(turned_text, encoding="utf-8")
        assert (target / name).read_bytes() != (SEQUENCES / name).read_bytes()

    assert compare_sequences(load(SEQUENCES / MAKEUP), load(target / MAKEUP)) == ()


@pytest.mark.parametrize("name", [path.name for path in sorted(SEQUENCES.glob("*.yaml"))])
def test_a_shipped_sequence_is_the_same_as_itself_and_as_reformatted(
    tmp_path: Path, name: str
) -> None:
    """Comments and layout are for people."""
    target = copied(tmp_path)
    for path in target.rglob("*.yaml"):
        reformat(path)
        lines = path.read_text(encoding="utf-8").splitlines()
        path.write_text(
            "\n\n# again\n".join(lines[:1]) + "\n# more\n" + "\n".join(lines[1:]) + "\n"
        )

    assert compare_sequences(load(SEQUENCES / name), load(target / name)) == ()
