"""Commands shown in the guides run: those in a block marked with ``<!-- runs -->`` before it."""

import re
import shlex
import subprocess
import sys

import pytest

from tests.support.house import ROOT, place, shipped_files

_BLOCK = re.compile(
    r"^<!-- runs(?:, exit (\d))? -->\n+```(?:sh|console)\n(.*?)^```$", re.MULTILINE | re.DOTALL
)
MARK = "<!-- " + "runs"
GUIDES = [path for path in shipped_files() if path.suffix == ".md"]


def commands_of(text: str) -> list[tuple[str, int]]:
    """Return (command, exit code expected); lines that go on with a backslash are joined."""
    found: list[tuple[str, int]] = []
    for code, body in _BLOCK.findall(text):
        lines = body.replace("\\\n", " ").splitlines()
        if any(line.startswith("$ ") for line in lines):  # Else it is output that is shown.
            lines = [line[2:] for line in lines if line.startswith("$ ")]
        found += [(line, int(code or 0)) for line in lines if line and not line.startswith("#")]
    return found


SHOWN = [
    (place(path), *one) for path in GUIDES for one in commands_of(path.read_text(encoding="utf-8"))
]


def test_a_marked_block_is_found_with_its_exit_code_and_an_unmarked_one_is_not() -> None:
    """Output between commands, comments and lines that go on belong to no command of their own."""
    text = (
        "```sh\nbothsides run x\n```\n"
        "<!-- runs -->\n```console\n$ bothsides check \\\n  a\ngood\n```\n"
        "<!-- runs, exit 1 -->\n\n```sh\n# why\nbothsides dryrun b\n```\n"
    )

    assert commands_of(text) == [("bothsides check    a", 0), ("bothsides dryrun b", 1)]


def test_every_mark_in_the_guides_stands_before_a_block_that_is_found() -> None:
    """A misspelt fence would quietly take its commands out of the tests."""
    for path in GUIDES:
        text = path.read_text(encoding="utf-8")
        assert len(re.findall(rf"^{MARK}", text, re.MULTILINE)) == len(_BLOCK.findall(text))
    assert len(SHOWN) >= 3


@pytest.mark.parametrize(("guide", "command", "code"), SHOWN, ids=[one[1] for one in SHOWN])
def test_a_command_of_a_guide_ends_as_the_guide_says(guide: str, command: str, code: int) -> None:
    """What a reader types first must work."""
    program, *words = shlex.split(command)
    assert program == "bothsides", f"{guide}: only our own program is run from a guide"

    done = subprocess.run(
        [sys.executable, "-m", "coordinator.cli.app", *words],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.returncode == code, done.stdout[-2000:] + done.stderr[-2000:]
