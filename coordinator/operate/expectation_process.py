"""Rehearse a sequence for the page: when each node was done first. It moves nothing.

In a process of its own, of lower rank than the run and its arms, which ends by itself when it is
done or when nobody reads what it prints.
"""

import os
import sys

from pydantic import TypeAdapter

from coordinator.core.effects import Effect
from coordinator.core.events import Event
from coordinator.core.plan import Plan
from coordinator.core.state import State
from coordinator.page.expectation import Expectation
from coordinator.page.strip import StripWatch
from coordinator.rehearse.rehearsal import rehearse
from coordinator.sequence import SequenceError, load

NICENESS = 10
"""Chosen: a rehearsal of seconds waits for the arms of the run, never they for it."""
EXPECTED: TypeAdapter[Expectation | None] = TypeAdapter(Expectation | None)


def expect(sequence: str, joint: str | None, seed: int) -> Expectation | None:
    """Rehearse the sequence and note when each node was done; None if it does not complete."""
    try:
        loaded = load(sequence, joint=joint)
    except SequenceError:
        return None
    noter, strip = _Noter(loaded.plan), StripWatch(loaded.plan)
    result = rehearse(loaded, seed=seed, listeners=(noter, strip))
    if result.phase != "complete":
        return None
    return Expectation(noter.done_us, result.time_us, strip.shown(result.time_us))


class _Noter:
    """Notes when each node was done first."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._done = [0] * len(plan.parties)
        self.done_us: dict[int, int] = {}

    def __call__(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        for index, lane in enumerate(state.lanes):
            if lane.done != self._done[index]:
                self._done[index] = lane.done
                for node in self._plan.lanes[index]:
                    if lane.is_done(node):
                        self.done_us.setdefault(node, event.at_us)


def main() -> None:
    """Print what is expected as JSON; arguments are sequence, seed and joint, if it has another."""
    sequence, seed, *joint = sys.argv[1:]
    expected = expect(sequence, joint[0] if joint else None, int(seed))
    sys.stdout.buffer.write(EXPECTED.dump_json(expected))


if __name__ == "__main__":
    os.nice(NICENESS)
    main()
