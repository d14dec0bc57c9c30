"""A sequence in which every question may be answered by a hold alone.

No file may say so: a rule refuses it. So the plan is altered, and what finds such a plan all the
same can be looked at.
"""

from dataclasses import replace

from coordinator.core.plan import Option
from coordinator.sequence import Loaded


def hold_alone(loaded: Loaded) -> Loaded:
    """Return the sequence with no other answer than `hold`."""
    prompts = tuple(
        replace(one, options=tuple(kept for kept in one.options if kept[0] is Option.HOLD))
        for one in loaded.plan.prompts
    )
    return replace(loaded, plan=replace(loaded.plan, prompts=prompts))
