"""Keep the alarms of a run: what is wrong, what follows from it, what the operator has to do.

A listener beside the core: it decides nothing about motion, and shelving an alarm changes nothing
but what is shown. States are those of IEC 62682.

Units: ``*_us`` whole microseconds since the run began.
Invariants: AL1, an alarm is shelved by a person, with a reason and an expiry, and comes back by
itself; AL2, what went away before anybody saw it stays to be acknowledged.
"""

from dataclasses import dataclass, replace

from coordinator.core.effects import Effect
from coordinator.core.events import Event
from coordinator.core.plan import InterlockKind, Plan
from coordinator.core.state import State
from coordinator.lifecycles import ALARM

SHELVED_US_MAX = 8 * 3600 * 1_000_000
"""Chosen: a shift; whoever comes next must see it again."""


@dataclass(frozen=True, slots=True)
class Alarm:
    """One alarm and how it stands."""

    name: str
    cause: str
    consequence: str
    operator_action: str
    state: str = ALARM.initial
    is_active: bool = False
    since_us: int = 0
    who: str = ""
    """Who acknowledged or shelved it."""
    why: str = ""
    until_us: int = 0
    """When it is shelved no longer."""
    is_first: bool = False
    """It was the first to act since the last reset."""
    is_latched: bool = False
    """It is active by its latch alone: what has tripped it is over."""


class Alarms:
    """Listens to the coordinator; one alarm for each interlock, party, and override in force."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._alarms = {alarm.name: alarm for alarm in _of_plan(plan)}

    def __call__(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        """Take in one decision."""
        self.pass_time(event.at_us)
        overridden = [one.interlock for one in state.overrides]
        for index, interlock in enumerate(self._plan.interlocks):
            signal = state.signals[interlock.signal]
            is_bad = state.tripped[index] or (signal.value is not True and signal.seen_us >= 0)
            if interlock.kind is InterlockKind.INTERLOCK:
                # What an exception allows is no alarm: only what has stopped somebody is.
                is_bad = is_bad and state.reason.startswith(f"{interlock.name}:")
            # What is set aside keeps nobody from moving; that it is set aside is an alarm itself.
            is_bad = is_bad and index not in overridden
            first = state.first_out == index
            self._set(interlock.name, is_bad, event.at_us, is_first=first)
            is_latched = state.tripped[index] and signal.value is True
            name = interlock.name
            self._alarms[name] = replace(self._alarms[name], is_latched=is_latched)
            self._set(f"override {interlock.name}", index in overridden, event.at_us)
        for party, lane in zip(self._plan.parties, state.lanes, strict=True):
            self._set(
                f"{party.name} lost", lane.party.boot > 0 and not lane.party.online, event.at_us
            )

    def standing(self) -> tuple[Alarm, ...]:
        """Return what is not normal, the first to act first, shelved ones last."""
        found = [one for one in self._alarms.values() if one.state != ALARM.initial]
        order = sorted(
            found, key=lambda one: (one.state == "shelved", not one.is_first, one.since_us)
        )
        return tuple(_as_it_stands(one) for one in order)

    def acknowledge(self, name: str, who: str) -> str:
        """Note that a person has seen an alarm; return why not, empty if it is noted."""
        alarm = self._alarms.get(name)
        if alarm is None or alarm.state not in ("unacknowledged", "returned_unacknowledged"):
            return f"nothing to acknowledge about '{name}'"
        is_back = alarm.state == "returned_unacknowledged"
        self._move(alarm, "acknowledge_returned" if is_back else "acknowledge", who=who)
        return ""

    def shelve(self, name: str, who: str, why: str, until_us: int, now_us: int) -> str:
        """Shelve an alarm for a while; return why not, empty if it is shelved (AL1)."""
        alarm = self._alarms.get(name)
        if alarm is None or alarm.state == "shelved":
            return f"no alarm '{name}' that could be shelved"
        if not who.strip() or not why.strip():
            return "say who and why"
        if not 0 < until_us - now_us <= SHELVED_US_MAX:
            return f"must end within {SHELVED_US_MAX / 3.6e9:.0f} h"
        self._move(alarm, "shelve", who=who, why=why, until_us=until_us)
        return ""

    def pass_time(self, now_us: int) -> None:
        """Bring back what was shelved until now."""
        for alarm in list(self._alarms.values()):
            if alarm.state == "shelved" and alarm.until_us <= now_us:
                back = "unshelve" if alarm.is_active else "unshelve_good"
                self._move(alarm, back, until_us=0, why="", who="", since_us=now_us)

    def _set(self, name: str, is_active: bool, now_us: int, *, is_first: bool = False) -> None:
        alarm = self._alarms[name]
        if alarm.is_active == is_active and alarm.is_first == is_first:
            return
        changed = replace(alarm, is_active=is_active, is_first=is_first)
        self._alarms[name] = changed
        if alarm.is_active == is_active or alarm.state == "shelved":
            return
        if is_active:
            self._move(changed, "raise", since_us=now_us, who="")
        elif alarm.state == "acknowledged":
            self._move(changed, "clear_acknowledged")
        elif alarm.state == "unacknowledged":
            self._move(changed, "clear")

    def _move(self, alarm: Alarm, trigger: str, **changes: object) -> None:
        state = ALARM.after(alarm.state, trigger)
        self._alarms[alarm.name] = replace(alarm, state=state, **changes)  # type: ignore[arg-type]  # names are checked by `replace`


def _as_it_stands(alarm: Alarm) -> Alarm:
    """Return an alarm with words that are so now: what is over is not said to be."""
    if not alarm.is_active:
        over = f"over: {alarm.cause}"
        do = "acknowledge it" if alarm.state == "returned_unacknowledged" else "nothing"
        return replace(alarm, cause=over, consequence="none now", operator_action=do)
    if alarm.is_latched:
        cause = f"latched, its signal is good again; it has tripped by: {alarm.cause}"
        return replace(alarm, cause=cause, consequence="nothing may move before reset and restart")
    return alarm


def alarm_words(alarm: Alarm) -> str:
    """Return an alarm as a line for people."""
    first = "FIRST-OUT " if alarm.is_first else ""
    shelved = f", shelved by {alarm.who}: {alarm.why}" if alarm.state == "shelved" else ""
    state = alarm.state.replace("_", " ")
    return (
        f"{first}{alarm.name} ({state}{shelved}): {alarm.cause}; "
        f"consequence: {alarm.consequence}; do: {alarm.operator_action}"
    )


def _of_plan(plan: Plan) -> list[Alarm]:
    alarms = [
        Alarm(one.name, one.cause, one.consequence, one.operator_action) for one in plan.interlocks
    ]
    alarms += [
        Alarm(
            f"override {one.name}",
            f"{one.name} is set aside by a person",
            "it keeps nobody from moving, whatever its signal says",
            "watch it yourself; end the override as soon as its reason is gone",
        )
        for one in plan.interlocks
    ]
    return alarms + [
        Alarm(
            f"{party.name} lost",
            "nothing is heard of it",
            "nobody knows what it does; it holds by itself once its lease has run out",
            "look at it, then at its cable and its supply",
        )
        for party in plan.parties
    ]
