"""Say single things of a sequence as a reader of a drawing wants them.

Units: microseconds, newton metres and SI in; units as people write them out.
"""

import re
from math import degrees

from coordinator.core.plan import Barrier, Origin, Plan, Value
from coordinator.sequence import Loaded
from coordinator.sequence.models.sequence_model import AskModel, PointModel, RuleModel


def time_words(time_us: int, beside_us: int | None = None, digits: int = 6) -> str:
    """Write a time in the largest unit that leaves it whole, or in seconds.

    Args:
        time_us: The time.
        beside_us: One that is written in the same unit, so that both can be compared.
        digits: Figures of the seconds.
    """
    both_us = (time_us, time_us if beside_us is None else beside_us)
    for unit, size_us in (("h", 3_600_000_000), ("min", 60_000_000), ("s", 1_000_000)):
        if not any(one % size_us for one in both_us):
            return f"{time_us // size_us} {unit}"
    if max(both_us) < 1_000_000 and not any(one % 1_000 for one in both_us):
        return f"{time_us // 1_000} ms"
    return f"{time_us / 1_000_000:.{digits}g} s"


def torque_words(torque_nm: float) -> str:
    """Write a torque; from one kilonewton metre in these, to four figures."""
    if abs(torque_nm) >= 1000.0:
        return f"{torque_nm / 1000.0:.4g} kN·m"
    return f"{torque_nm:.4g} N·m"


def value_words(value: Value, kind: str) -> str:
    """Write a parameter by its kind, one of the kinds of parameters of actions."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    match kind:
        case "torque":
            return torque_words(value)
        case "angle":
            return f"{degrees(value):.4g}°"
        case "length":
            return f"{value * 1000.0:.6g} mm"
        case "pressure":
            return f"{value / 1e6:.4g} MPa"
        case "force":
            return f"{value / 1000.0:.4g} kN"
        case "share":
            return f"{value * 100.0:.4g} %"
        case "time":
            return f"{value:.6g} s"
    return f"{value:.6g}"


def rule_words(fault: str, rule: RuleModel) -> str:
    """Say what follows a fault: `socket not seated: 3 tries, then ask socket stuck`."""
    tries = f"{rule.attempts} tries, then " if rule.attempts > 1 else ""
    then = f"ask {plain(rule.then.ask)}" if isinstance(rule.then, AskModel) else rule.then
    return f"{plain(fault)}: {tries}{then}"


def barrier_words(plan: Plan, barrier: Barrier) -> tuple[str, ...]:
    """Say how long a barrier waits and what a paired one demands."""
    waits = f"waits {time_words(barrier.timeout_us)} at most"
    if barrier.span < 0:
        return (waits,)
    span = plan.spans[barrier.span]
    return (
        f"{waits} · starts within {time_words(barrier.window_us)}",
        f"balance {torque_words(span.balance_nm)} · other side stands within "
        f"{time_words(span.stop_us)}",
    )


def point_words(model: PointModel) -> tuple[str, ...]:
    """Say what a hold or witness point is about and whose it is."""
    whose = "released by" if model.kind == "hold" else "told to"
    return (f"{whose} {model.who}", model.text)


def place_words(origin: Origin) -> str:
    """Write where a step stands: `makeup.yaml:93`."""
    return f"{origin.file}:{origin.line}" if origin.file else ""


def result_words(name: str) -> str:
    """Write a result without the unit at the end of its name."""
    return plain(re.sub(r"_(nm|pa|rad|m|n|s)$", "", name))


def plain(name: str) -> str:
    """Write a name with blanks, as it is spoken."""
    return name.replace("_", " ")


def facts_of(loaded: Loaded) -> tuple[str, ...]:
    """Say which joint it is and how it is pulled."""
    joint = loaded.joint
    begins = {"joint_open": "joint open", "joint_made_up": "joint made up"}[loaded.begins]
    rounds = ", ".join(
        f"{value_words(one.share, 'share')} ({torque_words(one.torque_nm)})" for one in joint.rounds
    )
    return (
        f"cell {plain(loaded.cell.cell)} · begins with {begins}",
        f"joint {plain(joint.name)}: {joint.bolt_count} bolts {joint.thread.designation}, "
        f"{joint.grade}, circle {value_words(joint.bolt_circle_m, 'length')}",
        f"rounds: {rounds}",
    )
