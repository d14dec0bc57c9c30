"""Take lanes that stand as the core will put them back on their way, once it is restarted.

While the procedure holds, and until a restart, the core reads of a lane without a command nothing
but that it stands; then it puts it back on its way. So lanes of which it makes the same are the
same before.

Invariants: PV6, the core itself is asked what it makes of a lane, and of what stands for it, with
no interlock to check again and with all: where these differ, the lane stays as it is.
"""

from collections.abc import Sequence

from coordinator.core.pairing import open_span
from coordinator.core.plan import Plan
from coordinator.core.procedure import settle_restart
from coordinator.core.recovery import must_ask
from coordinator.core.state import Lane, Meeting, Party, Phase, Rest, State, Stopped, Watch
from coordinator.core.turn import Turn

PHASES = (Phase.HOLDING, Phase.HELD, Phase.RESTARTING)
"""In which a lane without a command does nothing before a restart."""
_STANDING = Lane(party=Party(online=True), rest=Rest(held=False))


def _bare(lane: Lane) -> Lane:
    """Return a lane without what a restart is not about."""
    return lane._replace(since_us=0, party=_STANDING.party, rest=_STANDING.rest, watch=Watch())


class PutBack:
    """Lanes of one plan as the core puts them back."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._rechecks = tuple(i for i, one in enumerate(plan.interlocks) if one.rechecks)
        self._known: dict[tuple[tuple[int, Lane], ...], tuple[Lane, ...]] = {}
        self._put: dict[tuple[tuple[int, Lane], ...], tuple[Lane, ...]] = {}
        self._single = tuple((lane,) for lane in range(len(plan.parties)))

    def lanes(self, state: State) -> tuple[Lane, ...]:
        """Return the lanes of a state that holds; both of a pair together, or neither."""
        turn = Turn(self._plan, state, 0)
        found = list(state.lanes)
        for places in self._groups(turn):
            lanes = [state.lanes[at] for at in places]
            if len(lanes) == 1 and not isinstance(lanes[0].at, Stopped):
                continue  # It is on its way already.
            if any(
                lane.command or must_ask(turn, at) for lane, at in zip(lanes, places, strict=True)
            ):
                continue
            both = tuple(zip(places, lanes, strict=True))
            known = self._put.get(both)
            if known is None:
                known = self._put[both] = self._put_back(both)
            for at, made in zip(places, known, strict=True):
                found[at] = made
        return tuple(found)

    def _put_back(self, both: tuple[tuple[int, Lane], ...]) -> tuple[Lane, ...]:
        group = tuple((at, _bare(lane)) for at, lane in both)
        known = self._known.get(group)
        if known is None:
            known = self._known[group] = self._make(group)
        return tuple(
            made._replace(party=lane.party, rest=lane.rest, watch=lane.watch)
            for (_, lane), made in zip(both, known, strict=True)
        )

    def _groups(self, turn: Turn) -> Sequence[tuple[int, ...]]:
        """Return the lanes that have one fate, each once."""
        spans = [open_span(turn, lane) for lane in range(len(turn.state.lanes))]
        if max(spans) < 0:
            return self._single
        groups: dict[tuple[int, ...], None] = {}
        for lane, span in enumerate(spans):
            groups[self._plan.spans[span].lanes if span >= 0 else (lane,)] = None
        paired = {lane for group in groups if len(group) > 1 for lane in group}
        return [group for group in groups if len(group) > 1 or group[0] not in paired]

    def _make(self, group: tuple[tuple[int, Lane], ...]) -> tuple[Lane, ...]:
        before = tuple(lane for _, lane in group)
        made = self._restarted(group, ())
        standing = tuple((at, made[at]) for at, _ in group)
        if self._restarted(standing, ()) != made:
            return before
        if self._restarted(standing, self._rechecks) != self._restarted(group, self._rechecks):
            return before
        return tuple(lane for _, lane in standing)

    def _restarted(
        self, group: tuple[tuple[int, Lane], ...], acted: tuple[int, ...]
    ) -> tuple[Lane, ...]:
        """Return all lanes as the core makes them when a restart is done."""
        lanes = [_STANDING] * len(self._plan.parties)
        for at, lane in group:
            lanes[at] = lane
        state = State(
            phase=Phase.RESTARTING,
            lanes=tuple(lanes),
            meetings=(Meeting(),) * len(self._plan.barriers),
            signals=(),
            tripped=(),
            acted=acted,
        )
        turn = Turn(self._plan, state, 0)
        settle_restart(turn)
        return tuple(lane._replace(since_us=0) for lane in turn.state.lanes)
