"""Let a coordinator's process die between two messages in virtual time, and start anew.

What a journal would hold is kept as the state after the last durable decision: replaying a journal
gives that same state, which tests of their own show.

Units: ``*_us`` whole microseconds of the cell's clock.
Invariants: J5, what was not durable when the process died is not known to the one that comes after.
"""

from collections.abc import Sequence

from coordinator.core.effects import Effect
from coordinator.core.events import Event
from coordinator.core.state import State
from coordinator.live.coordinator import Coordinator, Listener, Observers, Progress, RecordWriter
from coordinator.live.operator import OperatedCoordinator, OperatorScript
from coordinator.wire.messages import Message


class RevivingCoordinator(OperatedCoordinator):
    """A coordinator with its scripted operator, that can be started anew where it ended."""

    def __init__(self, coordinator: Coordinator, script: OperatorScript) -> None:
        """Begin with nothing durable but the beginning."""
        super().__init__(coordinator, script)
        self._durable = coordinator.state, 0
        self._records: RecordWriter | None = None
        self._listeners: tuple[Listener, ...] = ()
        self.tell((), None)

    def tell(self, listeners: Sequence[Listener], records: RecordWriter | None) -> None:
        """Tell these of every decision and every proof from now on."""
        self._listeners, self._records = tuple(listeners), records
        self._observe()

    def revive(self, now_us: int) -> list[Message]:
        """Start anew after the process died, and return what is to be sent, in order."""
        state, at_us = self._durable
        dead = self.coordinator
        self.coordinator = Coordinator(
            dead.plan,
            epoch=dead.epoch + 1,
            origin_us=dead.origin_us,
            progress=Progress(state, at_us),
        )
        self._observe()
        return self.coordinator.resume(now_us) + self.react(now_us)

    def _observe(self) -> None:
        observers = Observers(None, self._records, (self._keep, *self._listeners))
        self.coordinator.observe(observers)

    def _keep(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        # A journal is made durable only when something follows; what came since dies with us.
        if effects:
            self._durable = state, event.at_us
