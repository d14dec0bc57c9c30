"""Days and cases under two hash seeds: not a byte may differ.

By default 12 seeds; with BOTHSIDES_WHOLE=1 in the environment 1,000 (some ten minutes of one core).
"""

import os
import subprocess
import sys
from pathlib import Path

from tests.support.house import ROOT
from tests.support.short_sequence import write_short_sequence

SEEDS = 1_000 if os.environ.get("BOTHSIDES_WHOLE") else 12
HASH_SEEDS = ("1", "4242")


def test_the_same_seed_gives_the_same_bytes_under_another_hash_seed(tmp_path: Path) -> None:
    """A case that replays otherwise on another machine cannot be looked into there."""
    path = write_short_sequence(tmp_path)

    told = [
        subprocess.run(
            [sys.executable, "-m", "tests.support.hash_seeds", str(path), "1", str(SEEDS)],
            cwd=ROOT,
            env={"PYTHONPATH": str(ROOT), "PYTHONHASHSEED": hash_seed, "PATH": ""},
            capture_output=True,
            text=True,
            check=True,
        ).stdout.splitlines()
        for hash_seed in HASH_SEEDS
    ]

    assert len(told[0]) == SEEDS
    assert told[0] == told[1]
    assert len({line.split(" ", 1)[1] for line in told[0]}) == SEEDS
