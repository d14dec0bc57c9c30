"""Tell whose step may be looked at before all else, since every order comes to the same.

Invariants: PV16, what is left out, because another order leads to the same states, behaves as what
stands for it.
Source: persistent sets; Godefroid, Partial-Order Methods for the Verification of Concurrent
Systems, 1996, chapter 4.
"""

from coordinator.core.barriers import released_barrier
from coordinator.core.plan import Plan
from coordinator.core.state import HOLDING, Lane, Phase, State, StepPhase, Timer
from coordinator.core.turn import Turn

_AT_REST = (*HOLDING, Phase.HELD)


def owes_hold(state: State, lane: Lane) -> bool:
    """Tell whether a party has been told to hold and has not said yet that it stands."""
    return not lane.rest.held and (state.phase in HOLDING or bool(lane.rest.hold_us))


class Alone:
    """Finds steps that may be looked at alone, or later, in one plan."""

    def __init__(self, plan: Plan, *, is_on: bool, has_own: bool) -> None:
        """Prepare.

        Args:
            plan: Whose states.
            is_on: False finds nothing: every order is looked at.
            has_own: The author has properties of his own, which may ask about any order.
        """
        self._plan = plan
        self._is_on = is_on
        self._is_hold_free = is_on and not has_own

    def first(self, state: State, silent: tuple[bool, ...]) -> int:
        """Return a party whose next step may be looked at before everything else, or -1.

        While the procedure holds, nothing that anybody else does changes what this party may do,
        and nothing that it does changes theirs: every order leads to the same states (PV16). One
        that is lost or silent can only come back, and nothing is waited for but that it stands;
        once all stand, whoever was lost may only come back, and keeps nobody but the restart.
        """
        if not self._is_hold_free or state.phase not in _AT_REST:
            return -1
        for place, lane in enumerate(state.lanes):
            if not lane.party.online:
                return place
            if state.phase in HOLDING and (not lane.rest.held or silent[place]):
                runs = lane.rest.hold_us or lane.watch.timer is not Timer.NONE
                if not (silent[place] and runs):  # Else a deadline of its own may end first.
                    return place
        return -1

    def only_puts_off(self, state: State) -> bool:
        """Tell whether a party that goes silent or is lost now only puts off what it does anyway.

        While the procedure holds nothing is asked of it but that it stands, and no deadline runs;
        by `first` it would come back at once, to the same state with a cause less to spend, from
        which nothing follows that does not follow without (PV16).
        """
        return self._is_hold_free and state.phase in _AT_REST

    def is_getting_ready(self, state: State) -> bool:
        """Tell whether somebody has said that it is ready again, and others have not yet.

        What the floor does meanwhile it can do before the first says so, and after the last: a
        hold wipes out who has said so, and nothing is sent before all have (PV16).
        """
        if not self._is_hold_free or state.phase is not Phase.RESTARTING:
            return False
        return any(not lane.rest.held for lane in state.lanes)

    def answering_later(self, turn: Turn, silent: tuple[bool, ...]) -> tuple[int, ...]:
        """Return lanes whose mere acknowledgement is looked at later: the first one's comes first.

        Ready, armed and, outside pairs, started only add up to "all have said so"; whatever may
        come between them (a hold) wipes out who had said so already (PV16). In a pair one may miss
        its start, or fail, before the other has told of its own.
        """
        if not self._is_on:
            return ()
        first: dict[tuple[str, int], int] = {}
        later = []
        for place, lane in enumerate(turn.state.lanes):
            if not lane.party.online or silent[place]:
                continue
            kind = self._acknowledges(turn, place)
            if kind and first.setdefault(kind, place) != place:
                later.append(place)
        return tuple(later)

    def starts_at(self, turn: Turn, place: int) -> int:
        """Return the barrier that a party has yet to report its start at, or -1."""
        lane = turn.lane(place)
        if lane.phase is not StepPhase.RUNNING or not lane.command:
            return -1
        barrier = released_barrier(turn, place)
        if barrier < 0:
            return -1
        position = self._plan.barriers[barrier].lanes.index(place)
        return barrier if turn.state.meetings[barrier].starts_us[position] < 0 else -1

    def _acknowledges(self, turn: Turn, place: int) -> tuple[str, int] | None:
        lane = turn.lane(place)
        if (
            lane.rest.held
            and lane.watch.timer is Timer.READY
            and turn.state.phase is Phase.RESTARTING
        ):
            return "ready", 0
        if lane.phase is StepPhase.ARMING:
            return "armed", turn.node(lane.node).barrier
        barrier = self.starts_at(turn, place)
        is_alone = barrier >= 0 and self._plan.barriers[barrier].span < 0
        return ("started", barrier) if is_alone else None
