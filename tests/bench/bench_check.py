"""How long the rules take for a long sequence file, beside PyYAML's reading the same bytes.

    python -m tests.bench.bench_check

Prints a ratio and seconds of a processor; asserts nothing, since machines differ.
"""

import platform
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import yaml

from coordinator.sequence import load
from tests.bench.results import Results
from tests.support.sequence_files import write_sequence

LINES = 2_000
REPEATS = 5


def long_sequence() -> str:
    """Return the body of a sequence of about `LINES` lines: rounds of paired pulls, written out."""
    heads, lanes = ["barriers:"], {"fore": ["  fore:"], "aft": ["  aft:"]}
    for steps in lanes.values():
        steps += ["    - do: change_tool", "      with: {tool: wrench}"]
    policies = [
        "policies:",
        "  seating:",
        "    socket_not_seated: {attempts: 3, recover: [{do: lift_wrench}], then: hold}",
        "  pulling:",
        "    torque_not_reached: {attempts: 2, then: hold}",
    ]
    written, number = len(policies) + 12, 0
    while written < LINES:
        number += 1
        heads += [
            f"  pull_{number}: {{timeout: 5 min, paired_until: pulled_{number}, "
            "balance: 600 N.m, stop: 3 s}",
            f"  pulled_{number}: {{timeout: 5 min}}",
        ]
        bolt = number % 4 + 1
        for lane, own in (("fore", bolt), ("aft", bolt + 4)):
            lanes[lane] += [
                "    - do: seat_wrench",
                f"      with: {{bolt: {own}}}",
                "      policy: seating",
                "    - do: react",
                f"      with: {{bolt: {own}, on: {own % 8 + 1}}}",
                f"    - barrier: pull_{number}",
                "    - do: pull",
                f"      with: {{bolt: {own}, torque: 2.5 kN.m}}",
                "      expect: {torque_nm: [2.4 kN.m, 2.6 kN.m]}",
                "      policy: pulling",
                f"    - barrier: pulled_{number}",
                "    - do: lift_wrench",
                f"      with: {{bolt: {own}}}",
            ]
        written += 2 + 2 * 13
    return "\n".join([*heads, *policies, "lanes:", *lanes["fore"], *lanes["aft"], ""])


def seconds(act: Callable[[], object]) -> float:
    """Return the least time of a processor that an act took."""
    taken = []
    for _ in range(REPEATS):
        begin_s = time.process_time()
        act()
        taken.append(time.process_time() - begin_s)
    return min(taken)


def main() -> None:
    """Measure and print."""
    told = Results.begin("check")
    with tempfile.TemporaryDirectory() as folder:
        path = write_sequence(Path(folder), long_sequence())
        text = path.read_text(encoding="utf-8")
        paths = [path, *(Path(folder) / "cells").iterdir(), *(Path(folder) / "joints").iterdir()]
        texts = [one.read_text(encoding="utf-8") for one in paths]
        begin_s = time.process_time()
        load(path)
        first_s = time.process_time() - begin_s
        rules_s = seconds(lambda: load(path))
        slow_s = seconds(lambda: [yaml.safe_load(one) for one in texts])
    print(f"Python {platform.python_version()}, {sys.platform}, {len(text.splitlines())} lines")
    told.add("first reading, with the unit library", first_s, "s")
    told.add("read, judged by every rule and compiled", rules_s, "s")
    told.add("PyYAML's safe_load of the same files alone", slow_s, "s")
    told.add("reading to safe_load", rules_s / slow_s, "times")
    told.write()


if __name__ == "__main__":
    main()
