"""What an action does over time, as a generator that a party's shell steps through.

An activity yields `Wait` for every stretch of time, returns `Done`, and raises `ActivityFault`
when physics ends it badly. The shell throws `HoldAsked` into it at a `Wait`; the activity then
yields what it still needs to come to rest (end the stroke, let the pressure off) and re-raises or
lets `HoldAsked` out.

Units: ``*_s`` seconds, SI otherwise.
"""

from collections.abc import Generator, Mapping
from dataclasses import dataclass, field

from coordinator.wire.messages import Trace, Value


@dataclass(frozen=True, slots=True)
class Wait:
    """Time that passes, and what the tool feels at its end (None where it feels nothing)."""

    duration_s: float
    torque_nm: float | None = None
    pressure_pa: float | None = None
    angle_rad: float | None = None


@dataclass(frozen=True, slots=True)
class Done:
    results: Mapping[str, Value] = field(default_factory=dict)
    trace: Trace | None = None


class ActivityFault(Exception):  # noqa: N818 (physics is no error of ours)
    """Physics ended the action badly."""

    def __init__(
        self, kind: str, evidence: Mapping[str, Value] | None = None, trace: Trace | None = None
    ) -> None:
        super().__init__(kind)
        self.kind = kind
        self.evidence = dict(evidence or {})
        self.trace = trace


class HoldAsked(Exception):  # noqa: N818 (it is thrown in to ask, not to blame)
    """Come to rest. `trace` may be set by the activity before it lets the exception out."""

    def __init__(self, on_hold: str) -> None:
        super().__init__(on_hold)
        self.on_hold = on_hold
        self.trace: Trace | None = None
        self.evidence: dict[str, Value] = {}


Activity = Generator[Wait, None, Done]
