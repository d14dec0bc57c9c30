"""Every way in is guarded like the first one: bases, joints instead, cases, answers."""

import os
from pathlib import Path
from shutil import copytree

import pytest

from tests.support.limited_reader import CPU_S_MAX, LimitedReader
from tests.support.sequence_files import SEQUENCES

KINDS = ("cell", "joint", "joint instead", "case", "answers", "based on")
DERIVED = "sequence: small\ntext: another\nbased_on: {base}\n"
_ALIASES = "".join(f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]\n" for n in range(1, 10))
_HOSTILE: dict[str, tuple[str | bytes, str]] = {
    "nothing": ("", "SEQ001"),
    "a bomb of aliases": ("a0: &a0 [x]\n" + _ALIASES, "SEQ003"),
    "ten megabytes": ("# " + "x" * 10_000_000 + "\n", "SEQ002"),
    "fifty thousand values": ("x: [" + "1, " * 60_000 + "1]\n", "SEQ002"),
    "lists in lists": ("x:\n" + "- " * 400_000 + "1\n", "SEQ002"),
    "brackets without end": ("x: " + "[" * 900_000, "SEQ001"),
    "a tab": ("x:\n\ty: 1\n", "SEQ001"),
    "a key twice": ("x: 1\nx: 2\n", "SEQ004"),
    "two documents": ("x: 1\n---\nx: 2\n", "SEQ001"),
    "UTF-16": ("x: 1\n".encode("utf-16"), "SEQ001"),
    "Latin-1": ("x: \xd6l\n".encode("latin-1"), "SEQ001"),
    "a NUL": ("x: a\0b\n", "SEQ001"),
    "a tag that calls": ("x: !!python/object/apply:os.system ['touch made']\n", "SEQ003"),
    "a list": ("- 1\n", "SEQ008"),
    "a word": ("word\n", "SEQ008"),
    "another kind of file": ("actions: {}\nbolts: {}\nlanes: {}\n", "SEQ006"),
    "twenty thousand unknown keys": ("".join(f"k{n}: 1\n" for n in range(20_000)), "SEQ006"),
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with the shipped cells and joints and a whole sequence."""
    for name in ("cells", "joints"):
        copytree(SEQUENCES / name, tmp_path / name)
    (tmp_path / "whole.yaml").write_bytes((SEQUENCES / "makeup.yaml").read_bytes())
    return tmp_path


def derived(folder: Path, base: str) -> Path:
    """Write a sequence that is based on another."""
    path = folder / "small.yaml"
    path.write_text(DERIVED.format(base=base), encoding="utf-8")
    return path


@pytest.mark.parametrize("kind", KINDS)
def test_hostile_content_is_refused_whatever_it_is_given_as(
    reader: LimitedReader, folder: Path, kind: str
) -> None:
    """One unguarded door is as good as none."""
    path = folder / "hostile.yaml"
    found = {}
    for name, (content, _) in _HOSTILE.items():
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        if kind == "based on":
            found[name] = reader.read(derived(folder, path.name))
        else:
            found[name] = reader.read(path, kind)

    assert {name: told["end"] for name, told in found.items()} == dict.fromkeys(found, "refused")
    for name, told in found.items():
        assert _HOSTILE[name][1] in told["codes"], name
    assert max(told["cpu_s"] for told in found.values()) < CPU_S_MAX
    assert not (Path.cwd() / "made").exists()


@pytest.mark.parametrize("kind", KINDS)
def test_pipes_devices_rings_and_folders_are_refused_whatever_they_are_given_as(
    reader: LimitedReader, folder: Path, kind: str
) -> None:
    """A pipe would keep the reader for ever, a device would fill the memory."""
    pipe, ring, zero = (folder / f"{name}.yaml" for name in ("pipe", "ring", "zero"))
    os.mkfifo(pipe)
    ring.symlink_to(ring)
    zero.symlink_to("/dev/zero")

    for path in (pipe, ring, zero, folder / "cells", folder / "none.yaml"):
        if kind == "based on":
            told = reader.read(derived(folder, path.name))
        else:
            told = reader.read(path, kind)

        assert told["end"] == "refused", path
        leads_out = kind == "based on" and path in (ring, zero)
        assert told["codes"] == (["SEQ005"] if leads_out else ["SEQ001"])


@pytest.mark.parametrize(
    ("base", "code"),
    [
        ("small.yaml", "SEQ058"),
        ("other.yaml", "SEQ058"),
        ("cells/sill_point.yaml", "SEQ006"),
        ("joints/airlift_16in_8.yaml", "SEQ006"),
        ("../whole.yaml", "SEQ005"),
        ("cells/../../whole.yaml", "SEQ005"),
        ("/dev/zero", "SEQ005"),
        ("/etc/hostname", "SEQ005"),
        ('"whole\\0.yaml"', "SEQ005"),
        ("a/" * 3000 + "b", "SEQ001"),
        ("[whole.yaml]", "SEQ008"),
        ("''", "SEQ001"),
        ("7", "SEQ008"),
    ],
)
def test_a_base_that_rings_or_leads_out_is_refused(
    reader: LimitedReader, folder: Path, base: str, code: str
) -> None:
    """SQ3: A ring of files must not be followed, a path must not leave the folder."""
    (folder / "other.yaml").write_text(DERIVED.format(base="small.yaml"), encoding="utf-8")

    told = reader.read(derived(folder, base))

    assert told["end"] == "refused", told
    assert code in told["codes"], told["texts"]


@pytest.mark.parametrize(
    ("kind", "content", "code"),
    [
        ("case", "case: x\nseed: " + "9" * 5000 + "\n", "SEQ008"),
        ("case", "case: x\nseed: -1\n", "SEQ009"),
        ("case", "case: x\ncauses: [{cause: burr, height: 1e999 m}]\n", "SEQ008"),
        ("case", "case: x\ncauses: [{cause: burr, height: .nan}]\n", "SEQ008"),
        ("case", "case: x\ncauses: [{cause: burr, at: 1e300 s}]\n", "SEQ009"),
        ("case", "case: x\ncauses: [{cause: burr, times: -3}]\n", "SEQ009"),
        ("answers", "answers: [{prompt: x, answer: maybe, by: y}]\n", "SEQ009"),
        ("answers", "acts: [{act: start, at: -1 s, by: y}]\n", "SEQ009"),
        ("answers", "acts: [{act: start, at: 1e300 s, by: y}]\n", "SEQ009"),
        ("answers", "answers:\n" + "  - {prompt: x, answer: again, by: y}\n" * 12_000, "SEQ002"),
    ],
)
def test_a_case_or_answers_beyond_all_bounds_are_refused(
    reader: LimitedReader, folder: Path, kind: str, content: str, code: str
) -> None:
    """What is written for a rehearsal can be as wrong as what is written for the work."""
    path = folder / "wild.yaml"
    path.write_text(content, encoding="utf-8")

    told = reader.read(path, kind)

    assert told["end"] == "refused", told
    assert code in told["codes"], told["texts"][:3]
