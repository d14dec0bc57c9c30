"""Sequences of one paired span each, short enough for hundreds of rehearsals.

The first runs up four bolts and pulls two opposite ones from snug to the full torque; the second
breaks the same two loose. Both have the policies of the shipped make-up and break-out.
"""

from pathlib import Path

from tests.support.sequence_files import write_sequence

_HEAD = """sequence: one_span
text: one paired span
cell: cells/sill_point.yaml
joint: joints/airlift_16in_8.yaml
begins: {begins}
otherwise: hold
"""
_PROMPT = """
prompts:
  trouble:
    text: The span did not end as it must. Look at the wrench, its reaction and the supply.
    caution: "WARNING: stored pressure. Keep hands away from the reaction."
    options:
      again: both sides go back to the barrier and begin again together
      hold: holds both arms; restart goes on from here
      abort: ends the procedure where it stands

policies:
  spanning:
"""
_PULLING = """
    torque_not_reached: {attempts: 2, then: {ask: trouble}}
    torque_not_held: {attempts: 2, then: {ask: trouble}}
    nut_turned: {attempts: 3, then: {ask: trouble}}
    out_of_balance: {attempts: 2, then: {ask: trouble}}
    out_of_step: {attempts: 3, then: {ask: trouble}}
    out_of_window: {attempts: 2, then: {ask: trouble}}
    turns_without_torque: {then: {ask: trouble}}
    reaction_lost: {recover: [{do: react}], then: {ask: trouble}}
    leak: {then: {ask: trouble}}
    bolt_broken: {then: hold}

barriers:
  entered: {timeout: 30 min}
  pull: {timeout: 5 min, window: 50 ms, paired_until: pulled, balance: $joint.balance, stop: 3 s}
  pulled: {timeout: 5 min}

blocks:
  fit:
    takes: [bolt]
    steps:
      - {do: locate_hole, with: {bolt: $bolt}}
      - {do: locate_bolt, with: {bolt: $bolt}}
      - {do: turn_socket, with: {bolt: $bolt}}
      - {do: pick_bolt, with: {bolt: $bolt}}
      - {do: place_bolt, with: {bolt: $bolt}}
      - {do: run_up, with: {bolt: $bolt}}
      - {do: let_go, with: {bolt: $bolt}}
  side:
    takes: [bolt, neighbour]
    steps:
      - {do: change_tool, with: {tool: spinner}}
      - {use: fit, with: {bolt: $bolt}}
      - {use: fit, with: {bolt: $neighbour}}
      - {do: change_tool, with: {tool: wrench}}
      - barrier: entered
      - {do: seat_wrench, with: {bolt: $bolt}}
      - {do: react, with: {bolt: $bolt, on: $neighbour}}
      - barrier: pull
      - do: pull
        with: {bolt: $bolt, torque: $joint.torque}
        expect: {torque_nm: [$joint.torque_least, $joint.torque_most]}
        round: 3
        policy: spanning
      - do: confirm_torque
        with: {bolt: $bolt, torque: $joint.torque}
        round: 3
        policy: spanning
      - barrier: pulled
      - {do: lift_wrench, with: {bolt: $bolt}}
"""
_BREAKING = """
    out_of_step: {attempts: 3, then: {ask: trouble}}
    out_of_balance: {attempts: 2, then: {ask: trouble}}
    not_loose: {then: {ask: trouble}}
    reaction_lost: {recover: [{do: react}], then: {ask: trouble}}
    bolt_broken: {then: hold}

barriers:
  break:
    timeout: 5 min
    window: 50 ms
    paired_until: broken_loose
    balance: $joint.loosening_torque_max
    stop: 3 s
  broken_loose: {timeout: 5 min}

blocks:
  side:
    takes: [bolt, neighbour]
    steps:
      - {do: change_tool, with: {tool: wrench}}
      - do: turn_wrench_over
      - {do: seat_wrench, with: {bolt: $bolt}}
      - {do: react, with: {bolt: $bolt, on: $neighbour}}
      - barrier: break
      - do: break_loose
        with: {bolt: $bolt, torque_max: $joint.loosening_torque_max}
        policy: spanning
      - barrier: broken_loose
      - {do: lift_wrench, with: {bolt: $bolt}}
"""
_LANES = """
lanes:
  fore:
    - {{use: side, with: {{bolt: 1, neighbour: {fore}}}}}
  aft:
    - {{use: side, with: {{bolt: 5, neighbour: {aft}}}}}
"""
BOLTS = {"fore": 1, "aft": 5}


def write_pull_span(folder: Path) -> Path:
    """Write the one that pulls, beside copies of the shipped cells and joints."""
    body = _PROMPT + _PULLING + _LANES.format(fore=2, aft=6)
    path = write_sequence(folder, body, head=_HEAD.format(begins="joint_open"))
    cell = folder / "cells" / "sill_point.yaml"
    # A joint of which one pair is pulled breaks the rules about what is recorded as a pull.
    told = cell.read_text(encoding="utf-8").replace("records: pull", "records: confirm")
    cell.write_text(told, encoding="utf-8")
    return path


def write_break_span(folder: Path) -> Path:
    """Write the one that breaks loose, beside copies of the shipped cells and joints."""
    body = _PROMPT + _BREAKING + _LANES.format(fore=8, aft=4)
    return write_sequence(folder, body, head=_HEAD.format(begins="joint_made_up"))
