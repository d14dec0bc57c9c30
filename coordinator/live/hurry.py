"""Give a cell that lives faster than the wall the patience that its bus and its disks still need.

Only the simulated steel and arms hurry; a message takes as long as ever. So what is waited for on
the bus is stretched by as much as the clock runs faster, and so are the window of starts, since
processes wake no sooner, and the balance band: a wrench winds up that much further while a report
is on its way. Whoever replays such a run hurries the plan
alike.

Units: ``*_us`` whole microseconds of the cell's clock.
"""

from dataclasses import asdict, replace

from coordinator.core.plan import Plan

SPEED_FILE = "speed"
"""Pinned with the files of a hurried run: a replay must hurry its plan alike."""


def hurried(plan: Plan, speed: float) -> Plan:
    """Return the plan as it is for a cell that lives `speed` times faster; itself up to 1."""
    if speed <= 1.0:
        return plan

    def stretched(wait_us: int) -> int:
        return int(wait_us * speed)

    waits = {
        name: stretched(wait) for name, wait in asdict(plan.timing).items() if name.endswith("_us")
    }
    signals = tuple(
        replace(signal, max_age_us=stretched(signal.max_age_us)) for signal in plan.signals
    )
    spans = tuple(replace(span, balance_nm=stretched(span.balance_nm)) for span in plan.spans)
    barriers = tuple(replace(one, window_us=stretched(one.window_us)) for one in plan.barriers)
    return replace(
        plan, timing=replace(plan.timing, **waits), signals=signals, spans=spans, barriers=barriers
    )
