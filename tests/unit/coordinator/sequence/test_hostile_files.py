"""Hostile files: a clear error each, within bounded memory and time, and nothing is obeyed."""

import os
from pathlib import Path
from shutil import copytree

import pytest

from coordinator.sequence.form.diagnostics import DIAGNOSTICS_MAX
from tests.support.limited_reader import CPU_S_MAX, LimitedReader
from tests.support.sequence_files import SEQUENCES

HEAD = """sequence: small
text: a small sequence
cell: cells/sill_point.yaml
joint: joints/airlift_16in_8.yaml
begins: joint_open
"""
PARK = "lanes:\n  fore:\n    - do: park\n"


def _blocks(count: int, uses: int, last: str) -> str:
    """Return a chain of blocks, each using the next some times, and a lane that uses the first."""
    use = "[" + ", ".join(["{{use: b{0}}}"] * uses) + "]"
    rows = [f"  b{n}:\n    steps: {use.format(n + 1)}\n" for n in range(count)]
    end = f"  b{count}:\n    steps: [{last}]\nlanes:\n  fore: [{{use: b0}}]\n"
    return HEAD + "blocks:\n" + "".join(rows) + end


def _head(**changes: str) -> str:
    lines = [line.split(": ", 1) for line in HEAD.splitlines()]
    return "".join(f"{key}: {changes.get(key, value)}\n" for key, value in lines)


_ALIASES = "".join(f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]\n" for n in range(1, 10))
_DEEP_LOOPS = (
    HEAD + "lanes:\n  fore:\n    - each: own_bolt\n      steps: &x\n        - each: pair\n"
    "          steps:\n            - each: round\n              steps:\n"
    "                - each: own_bolt\n                  steps: [{do: park}]\n"
)
_REFUSED: dict[str, tuple[str | bytes, str]] = {
    # Growth ------------------------------------------------------------------------------------
    "a bomb of aliases": ("a0: &a0 [x]\n" + _ALIASES, "SEQ003"),
    "an alias of itself": (HEAD + "lanes: &x {fore: *x}\n", "SEQ003"),
    "a merge key": (HEAD + "blocks: &x {}\nlanes:\n  <<: *x\n", "SEQ003"),
    "ten megabytes": ("# " + "x" * 10_000_000 + "\n", "SEQ002"),
    "fifty thousand values": (HEAD + "x: [" + "1, " * 60_000 + "1]\n", "SEQ002"),
    "brackets without end": (HEAD + "x: " + "[" * 900_000, "SEQ001"),
    "lists in lists": (HEAD + "x:\n" + "- " * 400_000 + "1\n", "SEQ002"),
    "mappings in mappings": (HEAD + "x: " + "{a: " * 200_000, "SEQ002"),
    "keys in keys": (HEAD + "x:\n" + "? " * 400_000, "SEQ002"),
    "a text without end": (HEAD + 'x: "' + "a" * 900_000, "SEQ001"),
    "twenty thousand unknown keys": (HEAD + "".join(f"k{n}: 1\n" for n in range(20_000)), "SEQ006"),
    "ten thousand anchors": ("".join(f"a{n}: &b{n} x\n" for n in range(10_000)), "SEQ003"),
    "blocks that double": (_blocks(40, 2, "{do: park}"), "SEQ002"),
    "blocks that double to nothing": (_blocks(20, 2, "{use: nowhere}"), "SEQ026"),
    "blocks nested two thousand deep": (_blocks(2000, 1, "{do: park}"), "SEQ002"),
    "a block that uses itself": (_blocks(3, 2, "{use: b0}"), "SEQ047"),
    "loops in loops in loops": (_DEEP_LOOPS.replace(" &x", ""), "SEQ054"),
    "loops over blocks of loops": (
        _blocks(14, 2, "{each: round, steps: [{do: park}]}"),
        "SEQ002",
    ),
    "thousands of names nearly right": (
        HEAD
        + "blocks:\n"
        + "".join(f"  name_of_block_{n}:\n    steps: [{{do: park}}]\n" for n in range(3000))
        + "lanes:\n  fore:\n"
        + "".join(f"    - use: name_of_blick_{n}\n" for n in range(5000)),
        "SEQ044",
    ),
    "a step after forty thousand": (
        HEAD + f"lanes:\n  fore:\n    - {{do: park, id: a, after: [{'a, ' * 40_000}a]}}\n",
        "SEQ009",
    ),
    # Text --------------------------------------------------------------------------------------
    "tabs": (HEAD + "lanes:\n\tfore:\n\t\t- do: park\n", "SEQ001"),
    "a key twice": (HEAD + PARK + "text: another\n", "SEQ004"),
    "UTF-16 with mark": ((HEAD + PARK).encode("utf-16"), "SEQ001"),
    "UTF-16 without mark": ((HEAD + PARK).encode("utf-16-le"), "SEQ001"),
    "UTF-32": ((HEAD + PARK).encode("utf-32"), "SEQ001"),
    "a byte order mark": ((HEAD + PARK).encode("utf-8-sig"), "SEQ001"),
    "Latin-1": (_head(text="Verschraubung für Öl").encode("latin-1"), "SEQ001"),
    "a NUL": (HEAD + "x: a\0b\n" + PARK, "SEQ001"),
    "an escape sequence": (HEAD + "x: \x1b[2J\n" + PARK, "SEQ001"),
    "text that runs backwards": (HEAD + "# \u202e\n" + PARK, "SEQ001"),
    "a space without width": (HEAD + PARK.replace("park", "pa\u200brk"), "SEQ001"),
    "a line end that no editor shows": (HEAD + "# note\u2028" + PARK, "SEQ001"),
    "half a character": (_head(text='"\\ud800"') + PARK, "SEQ001"),
    "a letter of another alphabet": (HEAD + PARK.replace("fore", "f\u043ere"), "SEQ022"),
    "a name in another alphabet": (_head(sequence="f\u043ere") + PARK, "SEQ010"),
    "wide letters": (HEAD + PARK.replace("park", "\uff50ark"), "SEQ014"),
    "a value of a hundred thousand letters": (HEAD + PARK.replace("park", "p" * 100_000), "SEQ014"),
    "a key of a hundred thousand letters": (HEAD + "a" * 100_000 + ": 1\n" + PARK, "SEQ001"),
    "a quoted key of a hundred thousand letters": (
        HEAD + '? "' + "a" * 100_000 + '"\n: 1\n' + PARK,
        "SEQ006",
    ),
    # Paths -------------------------------------------------------------------------------------
    "a path upwards": (_head(cell="../cells/sill_point.yaml") + PARK, "SEQ005"),
    "a path out and in": (_head(cell="cells/../../x.yaml") + PARK, "SEQ005"),
    "an absolute path": (_head(cell="/etc/hostname") + PARK, "SEQ005"),
    "a device as cell": (_head(cell="/dev/zero") + PARK, "SEQ005"),
    "a NUL in a path": (_head(cell='"cells/a\\0b.yaml"') + PARK, "SEQ005"),
    "a path that is too long": (_head(cell="a/" * 3000 + "b") + PARK, "SEQ001"),
    "a folder as cell": (_head(cell="cells") + PARK, "SEQ001"),
    "itself as cell": (_head(cell="small.yaml") + PARK, "SEQ006"),
    "a user's folder": (_head(cell="~/x.yaml") + PARK, "SEQ001"),
    # Numbers -----------------------------------------------------------------------------------
    "a time without end": (HEAD + PARK + "      timeout: 1e300 s\n", "SEQ009"),
    "a number without end": (HEAD + PARK + "      timeout: 1e999 s\n", "SEQ008"),
    "a tower of powers": (HEAD + PARK + "      timeout: 1 s^9^9^9^9\n", "SEQ011"),
    "a power of many digits": (HEAD + PARK + "      timeout: 1 s**999999999\n", "SEQ011"),
    "a unit of four thousand letters": (HEAD + PARK + f"      timeout: 1 {'s' * 4000}\n", "SEQ008"),
    "a number of many digits": (HEAD + PARK + f"      timeout: {'9' * 5000} s\n", "SEQ008"),
    "a round of many digits": (HEAD + PARK + f"      round: {'9' * 5000}\n", "SEQ008"),
    "not a number": (HEAD + PARK + "      timeout: .nan s\n", "SEQ008"),
    "attempts without end": (
        HEAD + "policies:\n  p:\n    tool_not_locked: {attempts: 999999999999}\n" + PARK,
        "SEQ042",
    ),
    # Code --------------------------------------------------------------------------------------
    "a tag that calls": (HEAD + "x: !!python/object/apply:os.system ['touch made']\n", "SEQ003"),
    "a tag that makes": (HEAD + "x: !!python/object/new:os.system ['touch made']\n", "SEQ003"),
    "a tag that names": (HEAD + "x: !!python/name:os.system\n", "SEQ003"),
    "a tag that imports": (HEAD + "x: !!python/module:antigravity\n", "SEQ003"),
    "a tag of the author": (
        "%TAG ! tag:yaml.org,2002:python/\n---\nx: !name:os.system\n",
        "SEQ003",
    ),
    "a call as unit": (HEAD + PARK + "      timeout: 1 __import__('os')\n", "SEQ011"),
    "a sum as time": (HEAD + PARK + "      timeout: 1 s + 1 s\n", "SEQ011"),
    "a call as reference": (
        HEAD + PARK.replace("park", "change_tool") + "      with: {tool: $joint.__class__}\n",
        "SEQ013",
    ),
    "a text with a reference": (
        HEAD + PARK.replace("park", "change_tool") + "      with: {tool: 'a${joint}'}\n",
        "SEQ013",
    ),
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with the shipped cells and joints."""
    for name in ("cells", "joints"):
        copytree(SEQUENCES / name, tmp_path / name)
    return tmp_path


def write(path: Path, content: str | bytes) -> Path:
    """Write a file as it is."""
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


@pytest.mark.parametrize("name", _REFUSED)
def test_a_hostile_file_is_refused_clearly_and_soon(
    reader: LimitedReader, folder: Path, name: str
) -> None:
    """Killed by a limit or ended by an exception would leave the author without a word."""
    content, code = _REFUSED[name]
    path = write(folder / "small.yaml", content)

    told = reader.read(path)

    assert told["end"] == "refused", told
    assert code in told["codes"]
    assert len(told["texts"]) <= DIAGNOSTICS_MAX
    assert max(len(one.split(": ", 1)[1]) for one in told["texts"]) < 1500
    assert told["cpu_s"] < CPU_S_MAX
    assert not (Path.cwd() / "made").exists()


@pytest.mark.parametrize(
    "content",
    [
        HEAD + PARK + "# " + "x" * 100_000 + "\n",
        _head(text="x" * 100_000) + PARK,
        HEAD + PARK.replace("\n", "\r\n"),
        _head(text="für Öl, 100 N·m") + PARK,
        HEAD + "lanes:\n  fore:\n" + "    - do: park\n" * 9_999,
        _blocks(13, 2, "{do: park}"),
    ],
    ids=["long comment", "long text", "line ends of two", "letters", "many steps", "many uses"],
)
def test_what_is_large_or_unusual_and_sound_is_read(
    reader: LimitedReader, folder: Path, content: str
) -> None:
    """The bounds must not stand in the way of an honest file."""
    told = reader.read(write(folder / "small.yaml", content))

    assert told["end"] == "read", told


@pytest.mark.parametrize("kind", ["cell", "joint", "case", "sequence"])
def test_pipes_devices_and_folders_are_refused_without_waiting(
    reader: LimitedReader, tmp_path: Path, kind: str
) -> None:
    """SQ2: A pipe that nobody writes to would keep the reader for ever."""
    pipe, ring = tmp_path / "pipe.yaml", tmp_path / "ring.yaml"
    os.mkfifo(pipe)
    ring.symlink_to(ring)
    paths = [pipe, ring, tmp_path, tmp_path / "none.yaml", Path("/dev/zero"), Path("/dev/null")]

    told = [reader.read(path, kind) for path in paths]

    assert [one["end"] for one in told] == ["refused"] * 6
    assert [one["codes"] for one in told] == [["SEQ001"]] * 6


def test_links_and_pipes_beside_a_sequence_are_no_way_out(
    reader: LimitedReader, folder: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """SQ2, SQ3: A link inside the folder may point out of it, at a ring, or at a pipe."""
    outside = tmp_path_factory.mktemp("outside") / "cell.yaml"
    outside.write_text((SEQUENCES / "cells" / "sill_point.yaml").read_text(encoding="utf-8"))
    (folder / "cells" / "out.yaml").symlink_to(outside)
    (folder / "cells" / "ring.yaml").symlink_to(folder / "cells" / "ring.yaml")
    os.mkfifo(folder / "cells" / "pipe.yaml")

    codes = [
        reader.read(write(folder / "small.yaml", _head(cell=f"cells/{name}.yaml") + PARK))["codes"]
        for name in ("out", "ring", "pipe")
    ]

    assert codes == [["SEQ005"], ["SEQ005"], ["SEQ001"]]


@pytest.mark.parametrize(
    ("kind", "content", "code"),
    [
        ("joint", "count: 1e999", "SEQ008"),
        ("joint", "count: 999999999999999", "SEQ009"),
        ("joint", "friction: 1e-320", "SEQ009"),
        ("joint", "friction: .inf", "SEQ008"),
        ("joint", "stress: 1e300 Pa", "SEQ049"),
        ("joint", "grip: 1e308 km", "SEQ008"),
        ("joint", "thread: " + "9" * 10_000, "SEQ053"),
        ("joint", "tolerance: 1e300 %", "SEQ009"),
        ("joint", "rounds: [30 %, 1e300 %]", "SEQ009"),
    ],
)
def test_huge_and_tiny_figures_of_a_joint_are_refused(
    reader: LimitedReader, folder: Path, kind: str, content: str, code: str
) -> None:
    """Physics with infinite figures would end in an exception far from the file."""
    text = (SEQUENCES / "joints" / "airlift_16in_8.yaml").read_text(encoding="utf-8")
    key = content.split(":", maxsplit=1)[0]
    lines = [
        f"  {content}" if line.strip().startswith(f"{key}:") else line for line in text.split("\n")
    ]

    told = reader.read(write(folder / "joint.yaml", "\n".join(lines)), kind)

    assert told["end"] == "refused", told
    assert code in told["codes"], told["texts"]


def test_a_cell_of_thousands_of_names_is_judged_in_time(
    reader: LimitedReader, folder: Path
) -> None:
    """Every name is looked up among all the others."""
    text = (SEQUENCES / "cells" / "sill_point.yaml").read_text(encoding="utf-8")
    faults = "".join(f"  fault_{n}: {{text: x}}\n" for n in range(3_000))
    raised = ", ".join(f"fault_{n}" for n in range(60))
    actions = "".join(f"  act_{n}: {{timeout: 1 s, raises: [{raised}]}}\n" for n in range(300))
    text = text.replace("\nactions:\n", f"\n{faults}actions:\n{actions}")

    told = reader.read(write(folder / "cells" / "large.yaml", text), "cell")

    assert told["end"] == "read", told
    assert told["cpu_s"] < CPU_S_MAX


def test_a_plan_as_large_as_may_be_is_judged_in_time(reader: LimitedReader, folder: Path) -> None:
    """Every rule must stay near linear: ten thousand steps and barriers to a lane."""
    steps = "".join(
        f"            - {{do: park, id: s{n}}}\n            - barrier: b{n}\n" for n in range(400)
    )
    loops = "    - each: round\n      steps:\n        - each: pair\n          steps:\n" + steps
    barriers = "barriers:\n" + "".join(f"  b{n}: {{timeout: 1 min}}\n" for n in range(400))
    lanes = "lanes:\n  fore:\n" + loops + "  aft:\n" + loops

    told = reader.read(write(folder / "small.yaml", HEAD + barriers + lanes))

    assert told["end"] == "read", told.get("texts", told)
    assert told["cpu_s"] < CPU_S_MAX
