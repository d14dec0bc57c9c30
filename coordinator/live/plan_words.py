"""Say in physical words what one plan does otherwise than another.

Units: as the names of the values say; people read N·m, mm, MPa, degrees and seconds.
"""

import math
from collections.abc import Iterator

from coordinator.core.plan import Node, Plan

_UNITS = {
    "nm": (1.0, "N·m"),
    "us": (1e-6, "s"),
    "m": (1e3, "mm"),
    "rad": (math.degrees(1.0), "°"),
    "s": (1.0, "s"),
    "n": (1.0, "N"),
    "pa": (1e-6, "MPa"),
    "kg": (1.0, "kg"),
}
_Value = str | int | float | bool


def plan_differences(then: Plan, now: Plan) -> tuple[str, ...]:
    """Return a line for each thing that is done otherwise; empty where only words differ."""
    before, after = dict(_facts(then)), dict(_facts(now))
    lines = []
    for key in [*before, *(key for key in after if key not in before)]:
        what, name = key
        if key not in after:
            lines.append(f"{what}: {_word(name)} {_say(name, before[key])} then, gone now")
        elif key not in before:
            lines.append(f"{what}: {_word(name)} {_say(name, after[key])} now, not there then")
        elif before[key] != after[key]:
            old, new = _say(name, before[key]), _say(name, after[key])
            lines.append(f"{what}: {_word(name)} {old} then, {new} now")
    return tuple(lines)


def _facts(plan: Plan) -> Iterator[tuple[tuple[str, str], _Value]]:
    for node in plan.nodes:
        yield from _facts_of_node(plan, node)
    for barrier in plan.barriers:
        what = f"barrier {barrier.name}"
        yield (what, "timeout_us"), barrier.timeout_us
        yield (what, "window_us"), barrier.window_us
    for span in plan.spans:
        yield (f"paired span {span.name}", "balance_nm"), span.balance_nm
        yield (f"paired span {span.name}", "stop_us"), span.stop_us
    for interlock in plan.interlocks:
        signal = plan.signals[interlock.signal]
        yield (f"interlock {interlock.name}", "kind"), str(interlock.kind)
        yield (f"interlock {interlock.name}", "signal"), signal.name
        yield (f"signal {signal.name}", "max_age_us"), signal.max_age_us


def _facts_of_node(plan: Plan, node: Node) -> Iterator[tuple[tuple[str, str], _Value]]:
    what = f"{plan.parties[node.lane].name}, {node.name}"
    follows = ", ".join(plan.nodes[one].name for one in node.after)
    yield (what, "after"), follows or "nothing"
    if node.move is not None:
        yield (what, "action"), node.move.action
        for name, value in node.move.parameters:
            yield (what, name), value
        yield (what, "timeout_us"), node.move.timeout_us
        yield (what, "no_progress_us"), node.move.no_progress_us
        yield (what, "on_hold"), node.move.on_hold
    for window in node.windows:
        yield (what, f"least_{window.result}"), window.least
        yield (what, f"most_{window.result}"), window.most
    for rule in node.rules:
        yield (what, f"tries_after_{rule.fault}"), rule.attempts
        recovery = ", ".join(move.action for move in rule.recover) or "none"
        yield (what, f"recovery_from_{rule.fault}"), recovery
        yield (what, f"then_after_{rule.fault}"), str(rule.then)
    for index, reason in node.exceptions:
        yield (what, f"moves_in_spite_of_{plan.interlocks[index].name}"), reason
    if node.record is not None:
        yield (what, "target_nm"), node.record.target_nm


def _unit(name: str) -> tuple[float, str]:
    return _UNITS.get(name.rpartition("_")[2], (1.0, ""))


def _word(name: str) -> str:
    stem, _, suffix = name.rpartition("_")
    return (stem if stem and suffix in _UNITS else name).replace("_", " ")


def _say(name: str, value: _Value) -> str:
    if isinstance(value, bool | str):
        return f"'{value}'" if isinstance(value, str) else ("yes" if value else "no")
    factor, unit = _unit(name)
    text = f"{value * factor:,.6g}" if abs(value * factor) < 1e6 else f"{value * factor:,.0f}"
    return f"{text} {unit}".strip()
