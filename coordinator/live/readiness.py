"""Know who is not ready for a restart yet: from what the parties say on the bus, without I/O.

The core knows that a party is on the bus and that the coordinator has the signals of the floor. An
arm judges by the signals that it has heard itself; one that has just come has heard none, refuses
its first motion, and the restart ends in a hold.
"""

from collections.abc import Callable

from coordinator.core.plan import Plan
from coordinator.wire.messages import FloorSignals, Message, PartyState
from coordinator.wire.topics import FLOOR

HEARD_MIN = 2
"""Chosen: one message of the floor would do for a party that subscribes before it says that it is
there; the second is for one that does so just after."""
AT_REST = ("held", "idle")


class Readiness:
    """Listens to the bus; messages that the broker has kept must not get here."""

    def __init__(self, plan: Plan) -> None:
        self._states: dict[str, PartyState | None] = {party.name: None for party in plan.parties}
        self._heard = dict.fromkeys(self._states, 0)
        """How often the floor was heard since each party came."""

    def hear(self, message: Message) -> None:
        """Take in a message."""
        name, body = message.source, message.body
        if isinstance(body, FloorSignals) and name == FLOOR:
            for party, state in self._states.items():
                if state is not None:
                    self._heard[party] += 1
        elif isinstance(body, PartyState) and name in self._states and message.subject == name:
            before = self._states[name]
            if before is None or before.boot != body.boot:
                self._heard[name] = 0
            self._states[name] = body if body.online else None

    def missing(self) -> tuple[str, ...]:
        """Return, in words, who is not ready and why; empty once everybody is."""
        words = []
        for name, state in self._states.items():
            if state is None:
                words.append(f"{name} is not on the bus")
            elif state.state not in AT_REST:
                words.append(f"{name} is still {state.state}")
            elif self._heard[name] < HEARD_MIN:
                words.append(f"{name} has not heard the floor")
        return tuple(words)


class TellMissing:
    """Prints for what a restart waits, once for every time that this changes."""

    def __init__(self, readiness: Readiness, say: Callable[[str], None]) -> None:
        self._readiness = readiness
        self._say = say
        self._told: tuple[str, ...] = ()

    def __call__(self) -> tuple[str, ...]:
        """Return who is not ready, having printed it."""
        missing = self._readiness.missing()
        if missing and missing != self._told:
            self._say(f"the restart waits: {'; '.join(missing)}")
        self._told = missing
        return missing
