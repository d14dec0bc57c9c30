"""The person of the crash tests: starts, restarts what is held, answers what is unknown."""

from dataclasses import dataclass

from coordinator.core.events import Act
from coordinator.core.plan import Plan
from coordinator.core.prompts import BUILT_IN, UNKNOWN_OUTCOME
from coordinator.live.operator import OperatorScript

RESTART_US = 2_000_000


@dataclass(frozen=True, slots=True)
class Again:
    """Whenever nobody knows what became of a command: after a look, again."""

    prompt: str = BUILT_IN[UNKNOWN_OUTCOME]
    answer: str = "again"
    by: str = "test person"
    after_us: int = 1_000_000
    always: bool = True


@dataclass(frozen=True, slots=True)
class Restart:
    """Whenever everything is held: restart."""

    act: Act = Act.RESTART
    when: str | None = "held"
    at_us: int | None = None
    after_us: int = RESTART_US
    by: str = "test person"
    always: bool = True


def patient_person(plan: Plan) -> OperatorScript:
    """Return somebody who goes on with the run as often as it takes."""
    return OperatorScript(plan, [Again()], [Restart()])
