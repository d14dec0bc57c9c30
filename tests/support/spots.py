"""Follow a run in virtual time for how far each arm has come, from commands and messages alone."""

from bisect import bisect_right

from coordinator.core.effects import Effect, SendDo, SendRelease
from coordinator.core.events import Event
from coordinator.core.plan import Plan
from coordinator.core.state import State
from coordinator.prove.concurrency import NOTHING

Begun = tuple[int, int]
"""(step begun last, another one begun before that)"""


class SpotsSeen:
    """A listener of a rehearsal: when each arm was told to begin which step."""

    def __init__(self, plan: Plan) -> None:
        """Nothing has begun."""
        self._plan = plan
        self.arms = [lane for lane, party in enumerate(plan.parties) if party.is_arm]
        self.begun: dict[int, list[tuple[int, Begun]]] = {
            lane: [(-1, (NOTHING, NOTHING))] for lane in self.arms
        }
        self.pairs: set[tuple[Begun, Begun]] = set()
        self._armed: dict[int, int] = {}

    def __call__(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        """Take what was decided."""
        for effect in effects:
            if isinstance(effect, SendDo) and effect.node >= 0:
                is_own = effect.move == self._plan.nodes[effect.node].move
                if effect.barrier >= 0:
                    self._armed[effect.command] = effect.node
                elif is_own:
                    self._begin(effect.party, effect.node, event.at_us)
            elif isinstance(effect, SendRelease) and effect.command in self._armed:
                self._begin(effect.party, self._armed[effect.command], event.at_us)
        self.pairs.add((self.last(self.arms[0]), self.last(self.arms[1])))

    def last(self, lane: int) -> Begun:
        """Return what a lane began last."""
        return self.begun[lane][-1][1]

    def at(self, lane: int, at_us: float) -> Begun:
        """Return what a lane had begun by a time."""
        times = [time_us for time_us, _ in self.begun[lane]]
        return self.begun[lane][bisect_right(times, at_us) - 1][1]

    def _begin(self, lane: int, node: int, at_us: int) -> None:
        if lane in self.begun:
            step, before = self.last(lane)
            before = before if node == step else step
            self.begun[lane].append((at_us, (node, before)))
