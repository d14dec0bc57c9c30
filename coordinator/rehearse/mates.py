"""The people of a rehearsal: who release what they are asked to, and help where it went wrong.

Units: ``*_us`` whole microseconds.
"""

from dataclasses import dataclass

from coordinator.core.events import Act as Deed
from coordinator.core.plan import NodeKind, Option, Plan
from coordinator.core.prompts import BUILT_IN
from coordinator.sequence import People
from coordinator.sequence.cases.case import Act, Answer

RELEASED_US = 1_000_000
"""Chosen: sooner than a run counts as unattended."""
LOOKS_US = 10_000_000
"""Chosen: so long a person looks before an answer; what was put right meanwhile stays right."""
RESET_US, RESTART_US = 70_000_000, 75_000_000
"""Chosen: whoever restarts waits until what went wrong is over."""
TIMES = 6
"""So often people answer each prompt, and restart; after that it counts as not recovered."""


@dataclass(frozen=True, slots=True)
class Releasing:
    """A person who releases a hold point whenever it is come to."""

    prompt: str
    by: str
    answer: str = Option.RELEASE
    after_us: int = RELEASED_US
    torque_nm: float | None = None
    always: bool = True


def releases(plan: Plan) -> tuple[Releasing, ...]:
    """Return what people answer at hold points where nothing has gone wrong: they release them."""
    points = (node for node in plan.nodes if node.kind is NodeKind.POINT and not node.is_witness)
    asked = dict.fromkeys(plan.prompts[node.prompt] for node in points)
    return tuple(Releasing(prompt.name, prompt.who or "mate") for prompt in asked)


def helping(plan: Plan) -> People:
    """Return people who answer `again`, or release; who reset and restart; who end a pause."""
    points = [one.prompt for one in releases(plan)]
    names = [*(prompt.name for prompt in plan.prompts), *BUILT_IN.values()]
    answers = [
        Answer(name, Option.RELEASE if name in points else Option.AGAIN, "mate", after_us=LOOKS_US)
        for name in names
        for _ in range(TIMES)
    ]
    acts = TIMES * [
        Act(Deed.RESET, "mate", when="held", after_us=RESET_US),
        Act(Deed.RESTART, "mate", when="held", after_us=RESTART_US),
        Act(Deed.RESUME, "mate", when="paused", after_us=LOOKS_US),
    ]
    return People(tuple(answers), tuple(acts))
