"""Read what a person types about modes, steps, overrides and alarms.

`mode step`, `step`, `step aft`, `override supply_low 5 the gauge sticks`, `end supply_low`,
`alarms`, `acknowledge supply_low`, `shelve supply_low 5 known`.
"""

from collections.abc import Callable

from coordinator.core.events import ModeSet, OverrideEnded, OverrideSet, PersonEvent, StepAllowed
from coordinator.core.plan import Mode, Plan
from coordinator.live.alarms import Alarms, alarm_words

MINUTE_US = 60_000_000
HELP = (
    "mode automatic|step|to_barrier|manual; step [LANE]; "
    "override INTERLOCK MINUTES WHY; end INTERLOCK; "
    "alarms; acknowledge ALARM; shelve ALARM MINUTES WHY"
)


class Words:
    """Knows the names of the plan and the time."""

    def __init__(
        self, plan: Plan, who: str, now_us: Callable[[], int], alarms: Alarms | None = None
    ) -> None:
        self.plan = plan
        self._alarms = alarms or Alarms(plan)
        self._lanes = {party.name: index for index, party in enumerate(plan.parties)}
        self._interlocks = {one.name: index for index, one in enumerate(plan.interlocks)}
        self._who = who
        self._now_us = now_us

    def read(self, words: list[str]) -> PersonEvent | str | None:
        """Return the call that a line means, or what to tell instead; None for none of ours."""
        match words:
            case ["mode", word] if word in list(Mode):
                return ModeSet(0, word, self._who)
            case ["step"]:
                return StepAllowed(0, -1, self._who)
            case ["step", lane] if lane in self._lanes:
                return StepAllowed(0, self._lanes[lane], self._who)
            case ["override", name, minutes, *why] if name in self._interlocks and why:
                return self._override(name, minutes, " ".join(why))
            case ["end", name] if name in self._interlocks:
                return OverrideEnded(0, self._interlocks[name], self._who)
            case ["alarms"]:
                standing = self._alarms.standing()
                return "\n".join(alarm_words(one) for one in standing) or "no alarm stands"
            case ["acknowledge", *name] if name:
                said = " ".join(name)
                return self._alarms.acknowledge(said, self._who) or f"acknowledged: {said}"
            case ["shelve", name, minutes, *why]:
                return self._shelve(name, minutes, " ".join(why))
            case ["mode" | "step" | "override" | "end", *_]:
                names = ", ".join([*self._lanes, *self._interlocks])
                return f"not understood: '{' '.join(words)}'; {HELP}; names: {names}"
        return None

    def _shelve(self, name: str, minutes: str, why: str) -> str:
        now_us = self._now_us()
        try:
            until_us = now_us + round(float(minutes) * MINUTE_US)
        except (ValueError, OverflowError):
            return f"minutes is '{minutes}', must be a number; such as: shelve {name} 5 {why}"
        why_not = self._alarms.shelve(name, self._who, why, until_us, now_us)
        return why_not or f"shelved for {minutes} min: {name}"

    def _override(self, name: str, minutes: str, why: str) -> PersonEvent | str:
        try:
            until_us = self._now_us() + round(float(minutes) * MINUTE_US)
        except (ValueError, OverflowError):
            return f"minutes is '{minutes}', must be a number; such as: override {name} 5 {why}"
        return OverrideSet(0, self._interlocks[name], self._who, why, until_us)
