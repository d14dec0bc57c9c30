"""Find a lane that has something to do that touches only itself: it may be looked at first.

Work outside paired spans and shared zones meets the other lanes at barriers alone, and a hold,
whenever it comes, acts on each lane by itself and asks each for itself. So every lane is seen in
each of its steps, with floor, people and faults at each, while the others stand at their first or
last; combinations of inner steps add nothing.

Invariants: PV16, what is left out, because another order leads to the same states, behaves as what
stands for it.
Source: persistent sets; Godefroid, Partial-Order Methods for the Verification of Concurrent
Systems, 1996, chapter 4.
"""

from coordinator.core.plan import Plan
from coordinator.core.state import (
    AT_WORK,
    BETWEEN,
    DECIDING,
    LEAVING,
    Doing,
    Lane,
    State,
    Then,
    Timer,
)
from coordinator.core.turn import Turn
from coordinator.prove.alone import Alone
from coordinator.prove.own import Own
from coordinator.prove.stand_ins import local_nodes, touching_nodes


class ByItself:
    """Finds such lanes in one plan."""

    def __init__(self, plan: Plan, own: Own, alone: Alone, *, is_on: bool) -> None:
        """Prepare; without `is_on` nothing is ever found."""
        self._alone = alone
        self._is_on = is_on
        self._whole = tuple(sum(1 << node for node in nodes) for nodes in plan.lanes)
        self._touching = touching_nodes(plan, own)
        self._local = local_nodes(plan, self._touching)

    def first(self, turn: Turn, silent: tuple[bool, ...], *, is_spent: bool) -> int:
        """Return the lane to look at before all others, or -1.

        Args:
            turn: With the state.
            silent: Parties that answer nothing at present.
            is_spent: Nothing more can go wrong.
        """
        state = turn.state
        if not self._is_on or state.phase not in DECIDING:
            return -1
        if not all(lane.party.online for lane in state.lanes):
            return -1
        best, found = (True, True, True), -1
        for place in range(len(state.lanes)):
            if self._is_by_itself(state, place, is_spent=is_spent):
                rank = self._rank(turn, place, is_silent=silent[place])
                if found < 0 or rank < best:
                    best, found = rank, place
        return found

    def is_at_home(self, lane: Lane) -> bool:
        """Tell whether the step at hand, and what stands next to it, touches nobody else."""
        # Standing by is over at once and leads to the next barrier; it meets nobody before.
        return self._is_on and (lane.doing is Doing.STAND or lane.node in self._local)

    def _rank(self, turn: Turn, place: int, *, is_silent: bool) -> tuple[bool, bool, bool]:
        """Return what is least for the lane to look at first.

        What is in trouble, or has not begun yet, would else be seen with all that others do.
        """
        lane = turn.state.lanes[place]
        in_trouble = is_silent or lane.rest.hold_us or lane.prompt
        in_trouble = in_trouble or lane.watch.timer in (Timer.GATE, Timer.READY)
        has_started = self._alone.starts_at(turn, place) < 0
        return not in_trouble, has_started, lane.doing is not Doing.STAND

    def _is_by_itself(self, state: State, place: int, *, is_spent: bool) -> bool:
        lane = state.lanes[place]
        if lane.rest.held:
            is_asked = lane.watch.timer is Timer.READY
            begins = lane.node == BETWEEN and not self._touches_next(place, lane)
            return is_asked and (begins or (is_spent and self._leaves_alone(place, lane)))
        is_busy = bool(lane.prompt or lane.rest.hold_us) or lane.watch.timer is Timer.GATE
        is_at_work = lane.live is not None and lane.phase in AT_WORK
        if not (is_busy or is_at_work):
            return False
        return self.is_at_home(lane) or (is_spent and self._leaves_alone(place, lane))

    def _leaves_alone(self, place: int, lane: Lane) -> bool:
        """Tell whether a lane is on its way out, by moves that touch only it.

        It shares no fate, but what a restart makes of it depends on what has gone wrong for its
        partner: so nothing more may. With the last move of one that leaves for good all may be
        over; who goes back begins with what is first undone.
        """
        if lane.then not in LEAVING or not lane.queue or any(one.zone >= 0 for one in lane.queue):
            return False
        goes_on = lane.then is Then.GO_BACK and not self._touches_next(place, lane)
        return len(lane.queue) > 1 or goes_on

    def _touches_next(self, place: int, lane: Lane) -> bool:
        """Tell whether what a lane has to do next touches another, or there is nothing more."""
        undone = self._whole[place] & ~lane.done
        return not undone or (undone & -undone).bit_length() - 1 in self._touching
