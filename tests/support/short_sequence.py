"""A sequence short enough for a test in real time: both wrenches, one paired pull."""

from pathlib import Path

from tests.support.sequence_files import write_sequence

_HEAD = """sequence: short
text: one paired pull on a joint that is made up
cell: cells/sill_point.yaml
joint: joints/airlift_16in_8.yaml
begins: joint_made_up
otherwise: hold
"""
_BODY = """
barriers:
  pull: {timeout: 5 min, window: 50 ms, paired_until: pulled, balance: 600 N.m, stop: 3 s}
  pulled: {timeout: 5 min}

blocks:
  pull_bolt:
    takes: [bolt, neighbour]
    steps:
      - do: change_tool
        with: {tool: wrench}
      - do: seat_wrench
        with: {bolt: $bolt}
      - do: react
        with: {bolt: $bolt, on: $neighbour}
      - barrier: pull
      - do: pull
        with: {bolt: $bolt, torque: $joint.torque}
        round: 3
      - barrier: pulled
      - do: lift_wrench
        with: {bolt: $bolt}

lanes:
  fore:
    - use: pull_bolt
      with: {bolt: 1, neighbour: 2}
  aft:
    - use: pull_bolt
      with: {bolt: 5, neighbour: 6}
"""
WINDOW_US = 50_000
"""As the text above says."""


def write_short_sequence(folder: Path) -> Path:
    """Write it beside copies of the shipped cells and joints, and return its path."""
    return write_sequence(folder, _BODY, head=_HEAD)
