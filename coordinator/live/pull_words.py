"""Say who pulls in a paired span and who waits, and how far apart both torques are.

Units: ``*_nm`` newton metres.
"""

from dataclasses import dataclass

from coordinator.core.plan import Plan
from coordinator.core.state import State


@dataclass(frozen=True, slots=True)
class Pull:
    """A paired span in which at least one side pulls now."""

    balance_nm: int
    pulling: tuple[int, ...]
    """Lanes whose wrench pulls."""
    names: tuple[str, ...]
    """Of the lanes that pull."""
    waiting: tuple[str, ...]
    """Of the lanes of the span that do not."""

    @property
    def is_together(self) -> bool:
        """Tell whether every side of the span pulls at this moment."""
        return not self.waiting

    def is_wide(self, apart_nm: float) -> bool:
        """Tell whether the difference leaves the balance band; 0 is no band."""
        return 0 < self.balance_nm < apart_nm

    def words(self, apart_nm: float | None) -> str:
        """Return who pulls, and the difference while both do."""
        if self.waiting:
            return f"{', '.join(self.names)} pulls; {', '.join(self.waiting)} does not pull now"
        apart = "not known yet" if apart_nm is None else f"{apart_nm:.0f} N·m"
        band = f"band {self.balance_nm} N·m" if self.balance_nm > 0 else "the span has no band"
        return f"both pull together; difference {apart}, {band}"


def pull_of(plan: Plan, state: State) -> Pull | None:
    """Return the paired span in which somebody pulls now, None while nobody does."""
    for span in plan.spans:
        first = plan.barriers[span.opens].next_nodes
        pulling = tuple(
            lane
            for lane, node in zip(span.lanes, first, strict=True)
            if state.lanes[lane].command
            and state.lanes[lane].node == node
            and state.lanes[lane].phase == "running"
            and not state.lanes[lane].rest.hold_us
        )
        if pulling:
            waiting = tuple(plan.parties[lane].name for lane in span.lanes if lane not in pulling)
            names = tuple(plan.parties[lane].name for lane in pulling)
            return Pull(span.balance_nm, pulling, names, waiting)
    return None
