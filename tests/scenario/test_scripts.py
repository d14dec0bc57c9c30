"""The scripts of the tests: what they say of missing programs, of each step, and at their end."""

import json
import re
import subprocess
from pathlib import Path

import pytest

from tests.support import long_results
from tests.support.house import ROOT

STEPS = ROOT / "tests" / "support" / "steps.sh"


def said(folder: Path, text: str) -> tuple[int, str, str]:
    """Run a script that shares the steps; return how it ended, what it said, and its complaints."""
    script = folder / "some.sh"
    script.write_text(f'source "{STEPS}"\n{text}\n', encoding="utf-8")
    done = subprocess.run(["bash", script], capture_output=True, text=True, check=False)
    return done.returncode, done.stdout, done.stderr


def test_who_may_not_install_is_told_in_one_line_what_is_missing_and_what_to_run(
    tmp_path: Path,
) -> None:
    """Not root and no sudo: `command not found` would help nobody."""
    nobody = "id() { echo 1000; }\ncommand() { return 1; }\n"
    code, out, complaint = said(
        tmp_path, f"programs=(there / spin /no/spin gcc /no/gcc)\n{nobody}need_programs"
    )

    assert (code, out) == (2, "")
    assert complaint.splitlines()[0] == (
        "some.sh: missing: spin gcc; as root run: "
        "apt-get update && apt-get install -y --no-install-recommends spin gcc"
    )


def test_the_account_tells_what_was_run_and_what_was_left_out_and_why(tmp_path: Path) -> None:
    """Whoever reads only the end must not believe that more was run than was."""
    code, out, _ = said(
        tmp_path,
        'start "beside" echo words of it\nstep "first" true\n'
        'wait_started\nleft_out "kills" "hours"',
    )

    assert code == 0
    account = out.partition("== some.sh, after")[2].splitlines()[1:]
    assert [re.sub(r" +(\d+ s)? +", " ", line) for line in account] == [
        "passed first",
        "passed beside",
        "left out kills: hours",
    ]
    assert "words of it" in out


@pytest.mark.parametrize(
    "failing",
    ['step "bad" false', 'start "bad" false\nwait_started', 'start "bad" sleep 99\nfalse'],
)
def test_a_step_that_fails_ends_the_script_and_what_follows_is_not_run(
    tmp_path: Path, failing: str
) -> None:
    """In the foreground or beside it, and nothing is left running."""
    code, out, _ = said(tmp_path, f'step "good" true\n{failing}\nstep "later" true')

    assert code == 1
    assert "later" not in out
    assert "ended with 1: what is not told of was not run" in out


def test_a_part_of_the_long_script_that_is_not_known_is_refused_with_those_that_are() -> None:
    """A misspelt part that was passed over would look like one that was run."""
    long = (ROOT / "tests" / "long.sh").read_text(encoding="utf-8")
    parts = re.findall(r"^part (\w+) ", long, flags=re.MULTILINE)
    listed = re.search(r"^long_parts=\((.*)\)", STEPS.read_text(encoding="utf-8"), re.MULTILINE)
    guide = (ROOT / "tests" / "README.md").read_text(encoding="utf-8")

    assert listed is not None
    assert listed[1].split() == parts
    assert ", ".join(f"`{part}`" for part in parts) in guide
    assert set(long_results.read()) <= set(parts)


def test_the_last_result_of_a_part_takes_the_place_of_the_one_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Others stay: each part says for itself when it was run last."""
    monkeypatch.setattr(long_results, "KEPT", tmp_path / "kept.json")
    for part, seed in (("kills", 1), ("soak", 2), ("kills", 3)):
        long_results.keep(part, {"verdict": "passed", "seed": seed})

    kept = json.loads((tmp_path / "kept.json").read_text(encoding="utf-8"))
    assert {part: one["seed"] for part, one in kept.items()} == {"kills": 3, "soak": 2}
