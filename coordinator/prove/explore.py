"""Walk through every state that a plan can reach and judge each decision.

Each lane is cut into pieces; what can happen at places that behave alike is decided once
(`graph.py`), and the walk goes from places to places with the states in which they are entered.

Invariants: PV1, a bound that cuts the walk is told and never ends in good; PV2, a counterexample is
the shortest there is; PV3, no reduction but those in `moves.py`, `canonical.py` and `pieces.py`,
which say why they are sound.
Source: breadth-first search with parent links, and symmetry reduction; Clarke, Grumberg, Peled,
Model Checking, 1999.
"""

import heapq
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field

from coordinator.collector import without_collector
from coordinator.core.plan import Plan
from coordinator.prove.ending import begun, told_to_the_end
from coordinator.prove.graph import Expander, Limits, Stores
from coordinator.prove.local import OutOfOrder, ProofError
from coordinator.prove.monitors import Judge, Violation
from coordinator.prove.moves import Node
from coordinator.prove.own import Own
from coordinator.prove.pieces import Places
from coordinator.prove.reach import Came, Reach, Walk, reach
from coordinator.prove.shorten import Shortener
from coordinator.prove.store import Store
from coordinator.prove.trace import find_violations
from coordinator.prove.ways import ways_out
from coordinator.sequence.compiler.own_properties import OwnProperty

Progress = Callable[[int, int], None]


@dataclass(slots=True)
class Exploration:
    """What the walk found."""

    causes: int
    states: int = 0
    """States that were found here; each stands for all that behave alike. If the walk was not cut,
    the steps from every one of them were decided."""
    ending: int = 0
    """Those of `states` that are on the way to an early end."""
    stands_for: int = 0
    """States of the plan that all of them stand for, also those decided for a plan before; those on
    the way to an early end not counted. Means nothing where the walk was cut; nor does `depth`."""
    transitions: int = 0
    depth: int = 0
    is_complete: bool = False
    """False when a bound cut the walk."""
    is_folded: bool = True
    """False where nothing was taken as alike: the plan does something twice across a cut."""
    violations: list[Violation] = field(default_factory=list)
    sent: set[int] = field(default_factory=set)
    """Steps that were ever sent."""
    asked: set[int] = field(default_factory=set)
    """Kinds of prompt that were ever raised."""

    @property
    def is_proved(self) -> bool:
        """Tell whether everything was seen and nothing was wrong."""
        return self.is_complete and not self.violations


def explore(
    plan: Plan,
    limits: Limits | None = None,
    progress: Progress | None = None,
    stores: Stores | None = None,
    properties: tuple[OwnProperty, ...] = (),
) -> Exploration:
    """Explore a plan.

    Args:
        plan: The plan; the same `decide` that runs it is walked.
        limits: How many causes, how many states.
        progress: Told of (states seen, places still to look at).
        stores: What has been decided about other plans; what is alike is not decided again.
        properties: What the author wants proved beside what every plan is held to.

    Returns:
        Everything that was seen; at most one violation of each property, the shortest.
    """
    asked = limits or Limits()
    own = Own(plan, properties)
    # A state decided for another plan may have no place in this one: then this plan stands alone.
    kept = (Store(),) if stores is None else (stores.of(own, asked), Store())
    with without_collector():  # A tenth of the time: all that it makes is kept.
        for store in kept:
            with suppress(OutOfOrder, ProofError):
                return _explore(own, asked, store, progress, is_orderly=True)
        # Something is done twice across a cut, or what was taken as alike is not: then nothing
        # counts as alike, and all is walked through.
        return _explore(own, asked, Store(), progress, is_orderly=False)


def _explore(
    own: Own, limits: Limits, store: Store, progress: Progress | None, *, is_orderly: bool
) -> Exploration:
    expander = Expander(own, limits, store, is_orderly=is_orderly)
    walk = Walk()
    found = Exploration(limits.causes, is_folded=is_orderly)
    start = start_of(expander)
    places = expander.local.places_of(start.state)
    number = expander.number(places, expander.local.look(start, places), lambda: start)
    walk.entries[places] = {number: Came(0, None, 0, ())}
    found.is_complete = _go(expander, walk, places, limits, progress)
    _tell(own.plan, expander, walk, found, limits)
    return found


def start_of(expander: Expander) -> Node:
    """Return the state in which everybody is there and a person has started."""
    node = begun(expander.own)
    return node._replace(state=expander.folder.fold(node.state))


def _go(
    expander: Expander, walk: Walk, first: Places, limits: Limits, progress: Progress | None
) -> bool:
    """Go from places to places, those with less done first; False where a bound cut the walk."""
    known: dict[object, Reach] = {}
    waiting = [(_progress(first), first)]
    while waiting:
        _, places = heapq.heappop(waiting)
        entries = walk.entries[places]
        base = min(came.steps for came in entries.values())
        ahead = frozenset((number, came.steps - base) for number, came in entries.items())
        if walk.seen.get(places) == (base, ahead):
            continue
        walk.seen[places] = base, ahead
        key = expander.pieces.kind_of(places), ahead
        found = known.get(key)
        if found is None:
            tell = None if progress is None else (lambda: progress(expander.states, len(waiting)))
            found = reach(expander, places, ahead, limits.states_max, tell)
            if found is None:
                return False
            known[key] = found
        walk.reached[places], walk.bases[places] = found, base
        for there in _leave(expander, walk, places, found, base):
            heapq.heappush(waiting, (_progress(there), there))
    return True


def _progress(places: Places) -> int:
    return sum(place.piece for place in places)


def _leave(expander: Expander, walk: Walk, places: Places, found: Reach, base: int) -> set[Places]:
    """Enter the next places by every exit; return those that are entered anew or sooner."""
    graph = expander.graph(places)
    fresh: set[Places] = set()
    for gone, steps, number, words in found.leaving:
        key = places, gone
        if key not in walk.leads:
            walk.leads[key] = expander.lead(graph.gone[gone], places)
        there, target = walk.leads[key]
        entries = walk.entries.setdefault(there, {})
        came = Came(base + steps, places, number, words)
        if target not in entries or came.steps < entries[target].steps:
            entries[target] = came
            fresh.add(there)
    return fresh


def _tell(plan: Plan, expander: Expander, walk: Walk, found: Exploration, limits: Limits) -> None:
    found.states, found.transitions = expander.states, expander.transitions
    found.ending = expander.ending
    found.stands_for = sum(one.stands_for for one in walk.reached.values())
    found.depth = max((walk.bases[at] + one.depth for at, one in walk.reached.items()), default=0)
    for places, one in walk.reached.items():
        sights = [expander.pieces.sight(lane, place) for lane, place in enumerate(places)]
        for notes in one.notes:
            found.asked |= notes.asked
            found.sent |= {sights[lane][at] for lane, at in notes.sent}
    lost = ways_out(expander, walk) if found.is_complete else []
    found.violations = find_violations(plan, expander, walk, Judge(plan), lost)
    if found.violations:
        shortener, start = Shortener(expander.own, limits), start_of(expander)
        shortest = [shortener.shortened(one, start) for one in found.violations]
        found.violations = [told_to_the_end(expander.own, limits, one) for one in shortest]


def unreached(plan: Plan, found: Exploration) -> tuple[str, ...]:
    """Name the steps and prompts that no interleaving reaches."""
    steps = [
        node.name
        for index, node in enumerate(plan.nodes)
        if node.move is not None and index not in found.sent
    ]
    prompts = [one.name for index, one in enumerate(plan.prompts) if index not in found.asked]
    return (*(f"step {name}" for name in steps), *(f"prompt {name}" for name in prompts))
