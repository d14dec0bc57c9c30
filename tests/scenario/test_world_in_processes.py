"""The virtual world in several processes comes to the same."""

import os
import subprocess
import sys

from tests.support.house import ROOT

_PROGRAM = """
from tests.unit.sim_arms.test_world import trace_of
import hashlib
print(hashlib.sha256(trace_of(11).encode()).hexdigest())
"""


def test_the_trace_does_not_depend_on_the_hash_seed_of_the_process() -> None:
    """N2, N4, over processes: a set or a hash in the hot path would show here."""
    digests = [
        subprocess.run(
            [sys.executable, "-c", _PROGRAM],
            cwd=ROOT,
            env={**os.environ, "PYTHONHASHSEED": hash_seed, "PYTHONPATH": "."},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for hash_seed in ("1", "4242")
    ]

    assert len(digests[0]) == 65
    assert digests[0] == digests[1]
