"""Keep the last result of each part of `tests/long.sh`, and show them all.

``python -m tests.support.long_results PART passed --seed N --seconds N`` keeps one, with what
``--command`` was run and the last line that it left in ``--said``; without a part all are shown.
"""

import argparse
import json
import subprocess
from datetime import UTC, datetime
from pathlib import Path

from tests.support.house import ROOT

KEPT = ROOT / "tests" / "long_results.json"
SAID_MAX = 300
"""Of the last line that a part has said."""
Result = dict[str, str | int]


def read() -> dict[str, Result]:
    """Return what is kept of each part, nothing if nothing is."""
    if not KEPT.is_file():
        return {}
    kept: dict[str, Result] = json.loads(KEPT.read_text(encoding="utf-8"))
    return kept


def commit() -> str:
    """Return the commit that is checked out, marked where program or tests differ from it."""
    name = _git("rev-parse", "--short=12", "HEAD")
    ours = ("coordinator", "sim_arms", "sequences", "tests", f":!{KEPT.relative_to(ROOT)}")
    return f"{name} with changes" if _git("status", "--porcelain", "--", *ours) else name


def keep(part: str, result: Result) -> None:
    """Put a result in place of the part's last one."""
    kept = read() | {part: result}
    text = json.dumps(dict(sorted(kept.items())), indent=1, ensure_ascii=False)
    KEPT.write_text(text + "\n", encoding="utf-8")


def _git(*words: str) -> str:
    done = subprocess.run(["git", *words], cwd=ROOT, capture_output=True, text=True, check=True)
    return done.stdout.strip()


def _last_line(said: Path) -> str:
    lines = said.read_text(encoding="utf-8", errors="replace").strip().splitlines()
    return lines[-1].strip()[:SAID_MAX] if lines else ""


def main() -> None:
    """Keep one result, or show all."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("part", nargs="?")
    parser.add_argument("verdict", nargs="?", choices=("passed", "FAILED"))
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--seconds", type=int, default=0)
    parser.add_argument("--command", default="")
    parser.add_argument("--said", type=Path)
    given = parser.parse_args()
    if given.part:
        result: Result = {
            "verdict": given.verdict,
            "commit": commit(),
            "date": datetime.now(UTC).date().isoformat(),
            "seed": given.seed,
            "seconds": given.seconds,
            "command": given.command,
            "said": "" if given.said is None else _last_line(given.said),
        }
        keep(given.part, result)
        return
    for part, one in read().items():
        print(f"{part:<14}{one['verdict']} {one['date']} {one['commit']}, {one['seconds']} s")


if __name__ == "__main__":
    main()
