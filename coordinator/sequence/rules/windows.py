"""Judge whether a step may succeed by its own numbers: what it is told to reach, it must accept.

A parameter is held against the window of the result that is called like it.

Units: SI; torque newton metre.
Invariants: SQ20, a step may succeed with what it is told to reach, in every round.
"""

from coordinator.sequence.compiler.expand import Input
from coordinator.sequence.compiler.nodes import UNIT_KINDS, Built
from coordinator.sequence.form.tree import Trail

_UNITS = {"_nm": "N.m", "_pa": "Pa", "_rad": "rad", "_m": "m", "_n": "N", "_s": "s"}


def check_windows(given: Input, built: tuple[Built, ...]) -> None:
    """Tell of parameters that lie outside the step's own window: torque and torque_nm, and so on.

    A line that stands for several steps, one a round, is told of once, with the first that is off.
    """
    off: dict[Trail, list[tuple[Built, str]]] = {}
    for one in built:
        for window in one.node.windows:
            suffix = next((unit for unit in UNIT_KINDS if window.result.endswith(unit)), "")
            name = window.result.removesuffix(suffix)
            value = one.values.get(name)
            if value is None or window.least <= float(value) <= window.most:
                continue
            unit = _UNITS.get(suffix, "")
            what = f"{one.node.name!r} of {given.parties[one.item.lane]!r} has {name} "
            what += f"{float(value):g} {unit} and accepts "
            what += f"{window.least:g} to {window.most:g} {unit}".rstrip()
            off.setdefault((*one.item.trail, "expect", window.result), []).append((one, what))
    for trail, steps in off.items():
        more = f", and {len(steps) - 1} more such steps" if len(steps) > 1 else ""
        given.tell(trail, "SEQ081", f"{steps[0][1]}{more}")
