"""Plant each defect in a copy of the program and let three hunters look for it there.

``python -m tests.quality.hunting [--workers N] [NAME ...]`` hunts what is named, or everything that
`planted.json` does not yet tell about, and writes `planted.json` and `PLANTED.md` as it goes. When
the program or a patch has changed, what was found in the old one is hunted again.

The proof and the tests of the core look at defects in the core; at those of arms and of what speaks
to them look their own tests; the rules and the proof look at sequences. The campaign looks at all;
what nobody else has found it looks for in more cases. The second plan of the proof and the property
tests take longest: they are asked where neither the proof of the first nor the campaign has found
anything.
"""

import argparse
import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import threading
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from tests.quality.planted import FOLDER, NOTHING, read, write
from tests.quality.without_shrinking import SPENT
from tests.support.house import ROOT

PARTS = ("coordinator", "sim_arms", "sequences")
COPIED = (*PARTS, "tests", "pyproject.toml")
CASES_FOUND = 600
"""Cases for what another hunter has found already."""
CASES_MAX = 3000
"""So many cases are tried until a defect counts as not found."""
TIME_S_MAX = 1800
"""Of the wall, for one hunter; what the table tells is time of the processor."""
PROPERTY = {
    "core": ("tests/property/test_core_machine.py",),
    "arm": ("tests/conformance/test_parties.py",),
}
UNIT = {
    "core": ("tests/unit/coordinator/core",),
    "arm": ("tests/unit/sim_arms",),
    "live": ("tests/unit/coordinator/live",),
}
HUNTERS = ("proof", "property", "unit", "campaign")
_PYTEST = (
    *("-q", "-x", "-p", "no:cacheprovider", "-p", "no:randomly"),
    *("-p", "tests.quality.without_shrinking", "--hypothesis-seed=0"),
)
_SPENT = re.compile(f"^{re.escape(SPENT)} ([0-9.]+) s", re.MULTILINE)
_FAILED = re.compile(r"^(?:FAILED|ERROR) ([^\s\[]+)(?:\[.*?\])?(?: - (.*))?$", re.MULTILINE)


def defects() -> list[Path]:
    """Return every patch that plants a defect, sorted."""
    return sorted((FOLDER / "patches").glob("*.patch"))


def part_of(patch: Path) -> str:
    """Return in which part of the program a defect is planted."""
    text = patch.read_text(encoding="utf-8")
    for begin, part in (
        ("coordinator/core", "core"),
        ("sim_arms", "arm"),
        ("sequences", "sequence"),
    ):
        if f"+++ b/{begin}/" in text:
            return part
    return "live"


def header(patch: Path) -> Mapping[str, str]:
    """Return what a patch says about itself above its first line of change."""
    above, _, _ = patch.read_text(encoding="utf-8").partition("--- a/")
    found = {}
    for line in above.splitlines():
        name, _, value = line.partition(":")
        found[name.strip()] = value.strip()
    return found


def plant(patch: Path | None, folder: Path, parts: Sequence[str] = PARTS) -> None:
    """Copy the program into a folder and plant a defect in the copy.

    Raises:
        ValueError: the patch does not fit any more.
    """
    ignored = shutil.ignore_patterns("__pycache__", "patches")
    for part in parts:
        if (ROOT / part).is_dir():
            shutil.copytree(ROOT / part, folder / part, ignore=ignored)
        else:
            shutil.copy(ROOT / part, folder / part)
    if patch is None:
        return
    done = subprocess.run(
        ["git", "apply", "-C1", "--recount", str(patch)],
        cwd=folder,
        # The copy may lie inside somebody's checkout, whose files are none of its business.
        env={**os.environ, "GIT_CEILING_DIRECTORIES": str(folder.parent)},
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise ValueError(f"{patch.name} does not fit any more: {done.stderr.strip()}")


def hunt(
    patch: Path | None, cases_max: int = CASES_MAX, hunters: Sequence[str] = HUNTERS
) -> dict[str, Any]:
    """Plant a defect, or nothing, and look for it.

    Args:
        patch: What plants it, None for nothing.
        cases_max: So many cases of the campaign at most.
        hunters: Who looks, where it is theirs to look.

    Returns:
        What each hunter has found, by its name.
    """
    parts = tuple(UNIT) if patch is None else (part_of(patch),)
    found: dict[str, Any] = {"part": "" if patch is None else parts[0]}
    first, more = _proofs(patch) if "core" in parts or "sequence" in parts else ((), ())
    with TemporaryDirectory() as name:
        folder = Path(name)
        plant(patch, folder, COPIED)
        if first and "proof" in hunters:
            found["proof"] = _hunter(folder, "proof", *_files(first))
        if "unit" in hunters:
            found |= _tests(folder, parts, "unit", UNIT)
        if "campaign" in hunters:
            is_found = any(one["found"] for one in found.values() if isinstance(one, dict))
            most = min(cases_max, CASES_FOUND) if is_found else cases_max
            found["campaign"] = _campaign(folder, patch, most)
        if any(found[one]["found"] for one in ("proof", "campaign") if one in found):
            return found
        if more and "proof" in hunters:
            spent_s = found["proof"]["seconds"]
            found["proof"] = _hunter(folder, "proof", *_files(more))
            found["proof"]["seconds"] = round(found["proof"]["seconds"] + spent_s, 1)
        if "property" in hunters:
            found |= _tests(folder, parts, "property", PROPERTY)
    return found


def _campaign(folder: Path, patch: Path | None, cases_max: int) -> dict[str, Any]:
    said = {} if patch is None else header(patch)
    kinds = said.get("directed", "").split()
    breaks_out = patch is not None and "b/sequences/breakout.yaml" in patch.read_text("utf-8")
    sequence = said.get("sequence", "breakout_8" if breaks_out else "makeup_8")
    found = _hunter(folder, "campaign", *_files((sequence,)), str(cases_max), *kinds)
    return found | {"directed": kinds, "sequence": sequence}


def _proofs(patch: Path | None) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return what is proved first, and what is proved where that and the campaign find nothing."""
    text = "" if patch is None else patch.read_text(encoding="utf-8")
    if "b/sequences/makeup.yaml" in text:
        return ("makeup_6",), ()
    if "b/sequences/breakout.yaml" in text:
        return ("breakout_6",), ()
    return ("breakout_6",), ("makeup_6",)


def _files(names: Sequence[str]) -> tuple[str, ...]:
    return tuple(f"sequences/{name}.yaml" for name in names)


def _hunter(folder: Path, *words: str) -> dict[str, Any]:
    done = _run(folder, "-m", "tests.quality.hunters", *words)
    if done is None:
        return {"found": "", "seconds": TIME_S_MAX, "is_cut": True}
    if done.returncode:
        last = done.stderr.strip().splitlines()[-1:] or ["died"]
        return {"found": f"crash: {last[0][:60]}", "seconds": 0.0}
    result: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return result


def _tests(
    folder: Path, parts: Sequence[str], hunter: str, where: Mapping[str, tuple[str, ...]]
) -> dict[str, Any]:
    tests = [one for part in parts for one in where.get(part, ())]
    return {hunter: _failing(folder, tests)} if tests else {}


def _failing(folder: Path, paths: Sequence[str]) -> dict[str, Any]:
    """Return the first test that fails."""
    done = _run(folder, "-m", "pytest", *_PYTEST, *paths)
    if done is None:
        return {"found": "", "seconds": TIME_S_MAX, "is_cut": True}
    failed, spent = _FAILED.search(done.stdout), _SPENT.search(done.stdout)
    if spent is None or (failed is None and done.returncode):
        raise ValueError(f"the tests neither passed nor failed: {done.stdout[-400:]}")
    found = {"found": failed.group(1) if failed else "", "seconds": float(spent.group(1))}
    return found | {"why": (failed.group(2) or "").partition("\n")[0][:80] if failed else ""}


def _run(folder: Path, *words: str) -> subprocess.CompletedProcess[str] | None:
    """Run Python in the copy; return what came of it, None if it took too long."""
    try:
        return subprocess.run(
            [sys.executable, *words],
            cwd=folder,
            env={**os.environ, "PYTHONPATH": str(folder), "COLUMNS": "200"},
            capture_output=True,
            text=True,
            timeout=TIME_S_MAX,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return None


def program() -> str:
    """Return a hash of what is hunted in and of the hunters, but not of who is asked when."""
    files = [path for part in PARTS for path in sorted((ROOT / part).rglob("*"))]
    files += [FOLDER / "hunters.py"]
    files += [
        path
        for where in (PROPERTY, UNIT)
        for many in where.values()
        for one in many
        for path in _below(ROOT / one)
    ]
    return _hash([path for path in files if path.suffix in (".py", ".yaml")])


def _below(path: Path) -> list[Path]:
    return sorted(path.rglob("*.py")) if path.is_dir() else [path]


def hash_of_edit(patch: Path | None) -> str:
    """Return a hash of what a patch puts in, or takes out where it puts nothing in.

    The lines around it, and what it replaces, follow the program and count for nothing.
    """
    if patch is None:
        return ""
    lines = patch.read_text(encoding="utf-8").splitlines()
    put_in = [line for line in lines if line.startswith("+") and not line.startswith("+++")]
    taken_out = [line for line in lines if line.startswith("-") and not line.startswith("---")]
    where = [line for line in lines if line.startswith("+++") or ":" in line.partition(" ")[0]]
    return hashlib.sha256("\n".join((*where, *(put_in or taken_out))).encode()).hexdigest()[:16]


def _hash(paths: Sequence[Path]) -> str:
    whole = hashlib.sha256()
    for path in paths:
        whole.update(path.relative_to(ROOT).as_posix().encode() + b"\0" + path.read_bytes())
    return whole.hexdigest()[:16]


def hunt_all(names: Sequence[str], workers: int) -> None:
    """Hunt what is named, or all that is not told about, and write what was found as it comes."""
    known, version, lock = read(), program(), threading.Lock()
    asked: dict[str, Path | None] = {NOTHING: None} | {one.stem: one for one in defects()}
    kept = {
        name: one
        for name, one in known.items()
        if name in asked and (names or one["program"] == version) and name not in names
        if one["patch"] == hash_of_edit(asked[name])
    }

    def go(name: str) -> None:
        patch = asked[name]
        found = hunt(patch)
        found |= {"program": version, "patch": hash_of_edit(patch)}
        with lock:
            kept[name] = found
            write(dict(sorted(kept.items())))
        print(name, json.dumps(found), file=sys.stderr, flush=True)

    left = [name for name in asked if name not in kept and (not names or name in names)]
    with ThreadPoolExecutor(workers) as pool:
        list(pool.map(go, left))
    write(dict(sorted(kept.items())))


def main() -> None:
    """Hunt as asked on the command line."""
    parser = argparse.ArgumentParser(prog="hunting", description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", help="defects to hunt again, all if none is named")
    parser.add_argument("--workers", type=int, default=1, help="hunts at the same time")
    asked = parser.parse_args()
    hunt_all(asked.names, asked.workers)


if __name__ == "__main__":
    main()
