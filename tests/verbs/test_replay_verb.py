"""The verb `replay`: what it refuses, where it says so, and what it never writes."""

from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from coordinator.campaign.case_file import case_text
from coordinator.cli.app import app
from coordinator.sequence import Case, CaseCause
from tests.support.campaigns import maker
from tests.support.sequence_files import SEQUENCES

QUIET = Case("quiet", causes=(CaseCause("duplicate", None, None, 1_000_000, 1_000),))


def run(*words: str) -> Result:
    return CliRunner().invoke(app, list(words))


def written(folder: Path, *changes: tuple[str, str], case: Case = QUIET) -> Path:
    """Write a case of a campaign on a shipped sequence, with parts of its text exchanged."""
    text = case_text(replace(case, found=maker().found()), maker().words())
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    path = folder / "in" / "case.yaml"
    path.parent.mkdir(exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def everything(folder: Path) -> list[Path]:
    return sorted(folder.rglob("*"))


def place_of(path: Path, word: str) -> str:
    """Return `file:line:column` of the first place of a word in a file."""
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        if word in line:
            return f"{path}:{number}:{line.index(word) + 1}"
    raise AssertionError(word)


@pytest.mark.parametrize("out_of", ["../../evil.yaml", "{folder}/evil.yaml", "a/../../evil.yaml"])
@pytest.mark.parametrize("words", [(), ("--to-test", "{folder}/kept")])
def test_a_file_of_a_case_is_written_nowhere_but_below_its_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, out_of: str, words: tuple[str, ...]
) -> None:
    """CA9: A case comes from somebody else; it must not be able to put files on this machine."""
    name = out_of.format(folder=tmp_path)
    path = written(tmp_path, ("  files:\n", f"  files:\n    {name}: evil\n"))
    temporary = tmp_path / "temporary" / "deep"
    temporary.mkdir(parents=True)
    monkeypatch.setattr("tempfile.tempdir", str(temporary))
    before = everything(tmp_path)

    done = run("replay", str(path), *(one.format(folder=tmp_path) for one in words))

    assert done.exit_code == 1
    assert f"{place_of(path, name)}: file is '{name}', must be a path below" in done.stderr
    assert "[SEQ005]" in done.stderr
    assert everything(tmp_path) == before


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("sequence: makeup_8.yaml", "sequence: ../makeup_8.yaml", "SEQ005"),
        ("sequence: makeup_8.yaml", "sequence: makeup_9.yaml", "SEQ013"),
        ("  files:\n", "  files:\n    cells: text\n", "SEQ010"),
        ("  files:\n", "  files:\n    makeup_8.yaml/below: text\n", "SEQ010"),
        ("cause: duplicate,", "cause: duplicate, side: middle,", "SEQ056"),
        ("  files:\n", "  ended: held\n  trace: zz\n  files:\n", "SEQ009"),
        ("  files:\n", "  ended: held\n  files:\n", "SEQ007"),
        ("  files:\n", "  broken: [S9 at release]\n  files:\n", "SEQ013"),
    ],
)
def test_what_a_case_says_wrongly_is_told_at_its_place(
    tmp_path: Path, old: str, new: str, code: str
) -> None:
    """A case that says something else than what is run would be compared with nothing."""
    path = written(tmp_path, (old, new))

    done = run("replay", str(path))

    assert done.exit_code == 1
    assert f"{path}:" in done.stderr
    assert f"[{code}]" in done.stderr


def test_a_mistake_in_a_file_that_a_case_holds_is_told_in_the_file_of_the_case(
    tmp_path: Path,
) -> None:
    """The folder that it was written to is gone when somebody looks for it."""
    path = written(tmp_path, ("otherwise: hold", "otherwise: hodl"))

    done = run("replay", str(path))

    assert done.exit_code == 1
    assert f"{place_of(path, 'hodl')}: in 'makeup.yaml', line 75: " in done.stderr
    assert "did you mean 'hold'" in done.stderr


def test_another_case_of_the_same_name_is_never_written_over(tmp_path: Path) -> None:
    """The test that somebody once kept would be gone without a word; the same again is fine."""
    kept = tmp_path / "kept" / "case.yaml"
    assert run("replay", str(written(tmp_path)), "--to-test", str(kept.parent)).exit_code == 0
    first = kept.read_bytes()
    assert run("replay", str(written(tmp_path)), "--to-test", str(kept.parent)).exit_code == 0
    other = written(tmp_path, case=replace(QUIET, seed=5))

    done = run("replay", str(other), "--to-test", str(kept.parent))

    assert done.exit_code == 2
    assert f"{kept}: another case of this name" in done.stderr
    assert kept.read_bytes() == first


def test_a_rehearsal_says_that_its_case_was_found_on_another_sequence(tmp_path: Path) -> None:
    """What broke a promise there may do nothing here, and seem to be mended."""
    path = written(tmp_path)

    told = run("dryrun", str(SEQUENCES / "makeup_6.yaml"), "--case", str(path)).stdout
    same = run("dryrun", str(SEQUENCES / "makeup_8.yaml"), "--case", str(path)).stdout

    assert f"WARNING: {path} was found on 'makeup_8.yaml', this is 'makeup_6.yaml'" in told
    assert "was found" not in same


def test_a_cause_that_there_is_not_is_answered_with_the_nearest() -> None:
    """Forty names in a row are no help to whoever mistyped one."""
    done = run("faults", str(SEQUENCES / "makeup_8.yaml"), "--cause", "duplicat")

    assert done.exit_code == 2
    assert "--cause is 'duplicat', must be one of the causes" in done.output
    assert "did you mean 'duplicate'?" in done.output
