"""Find the order with the shortest cycle by rehearsing: the model offers orders, the arms decide.

What a step takes may depend on more than the step before it, such as on what the other arm has put
in or taken out. So a few orders are all rehearsed; of many, those that the solver thinks shortest,
each rehearsal teaching it, until none that is left can be shorter by all that was measured, and a
few more for what no rehearsal did before.

Units: ``*_us`` whole microseconds.
Invariants: BO5, no order is offered that was not rehearsed to its end; BO6, the present order
stands for itself: none longer is offered, if it is proved.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import islice, product
from math import prod

from coordinator.best_order.found import Found, Shown, Trials
from coordinator.best_order.freedom import Orders, Stretch, free_stretches, reordered
from coordinator.best_order.measured import Measured, shortest_of
from coordinator.best_order.solve import BestOrder, find_best_order
from coordinator.core.plan import Plan
from coordinator.sequence.models.cell_model import CellModel

REHEARSALS_MAX = 50
"""Chosen: so many orders are rehearsed; where there are no more, all of them."""
FURTHER = 20
"""Chosen: so many more are rehearsed once none should be shorter, in case what is measured lies."""


def search(
    plan: Plan,
    cell: CellModel,
    present: Measured,
    trials: Trials,
    *,
    rehearsals_max: int = REHEARSALS_MAX,
) -> Found:
    """Return the shortest order that was rehearsed and proved.

    Args:
        plan: The plan as its file stands; some stretch of it is free.
        cell: Which actions change and need tools.
        present: The rehearsal of the present order.
        trials: How an order is rehearsed and proved.
        rehearsals_max: How many orders may be rehearsed, the present one among them.

    Returns:
        The present order unproved, if no order was proved.

    Raises:
        ValueError: The solver came to no answer.
    """
    free = free_stretches(plan, cell)
    every = every_order(free, rehearsals_max)
    if every is not None:
        return _best_of(plan, every, present, trials)
    return _Search(plan, cell, present, trials).run(free, rehearsals_max)


def every_order(free: Sequence[Stretch], most: int) -> tuple[Orders, ...] | None:
    """Return every combination of orders, the present one first; None if there are too many."""
    of_each = [tuple(islice(_orders_of(one), most + 1)) for one in free]
    if prod(len(one) for one in of_each) > most:
        return None
    return tuple(
        {one.nodes: order for one, order in zip(free, chosen, strict=True)}
        for chosen in product(*of_each)
    )


def _orders_of(stretch: Stretch, done: tuple[int, ...] = ()) -> Iterator[tuple[int, ...]]:
    if len(done) == len(stretch.nodes):
        yield done
        return
    left = [one for one in stretch.nodes if one not in done]
    for one in left:
        if not any((other, one) in stretch.before for other in left):
            yield from _orders_of(stretch, (*done, one))


def _best_of(plan: Plan, every: Sequence[Orders], present: Measured, trials: Trials) -> Found:
    """Rehearse all, and return the shortest that is proved."""
    rehearsed = [(present.cycle_us, 0, present)]
    for number, orders in enumerate(every[1:], start=1):
        measured = trials.rehearse(reordered(plan, orders))
        if measured is not None:
            rehearsed.append((measured.cycle_us, number, measured))
    for cycle_us, number, measured in sorted(rehearsed, key=lambda one: one[:2]):
        tried = reordered(plan, every[number])
        if trials.prove(tried):
            count = len(every)
            return Found(tried, every[number], measured, True, cycle_us, Shown.EVERY, count)
    return Found(plan, every[0], present, False, 0, Shown.NOT, len(every))


class _Search:
    """Many orders: the solver picks which of them are rehearsed."""

    def __init__(self, plan: Plan, cell: CellModel, present: Measured, trials: Trials) -> None:
        self._plan, self._cell, self._trials = plan, cell, trials
        self._measures = [present]
        self._done: list[Orders] = []

    def run(self, free: Sequence[Stretch], rehearsals_max: int) -> Found:
        """Rehearse what the solver offers until nothing that is left can be shorter."""
        order: Orders = {one.nodes: one.nodes for one in free}
        self._done.append(order)
        present = self._measures[0]
        is_proved = self._trials.prove(self._plan)
        best = Found(self._plan, order, present, is_proved, 0, Shown.NOT, 1)
        met = 0
        while True:
            left = self._ask()
            bound_us = best.measured.cycle_us if left is None else left.bound_us
            is_met = best.is_proved and bound_us >= best.measured.cycle_us
            met = met + 1 if is_met else 0
            shown = Shown.MEASURED if is_met else Shown.NOT
            if left is None or met > FURTHER or len(self._done) >= rehearsals_max:
                return self._told(best, bound_us, shown)
            tried = self._tried(left.orders, best)
            best, met = tried, met if tried is best else 0
            if not left.is_shortest and not is_met:  # The solver gave up: more would not help it.
                after = self._ask()
                return self._told(best, bound_us if after is None else after.bound_us, Shown.NOT)

    def _ask(self) -> BestOrder | None:
        measured = shortest_of(self._measures)
        return find_best_order(self._plan, self._cell, measured, refused=self._done)

    def _tried(self, orders: Orders, best: Found) -> Found:
        """Rehearse an order; return it if it is better than the best so far."""
        self._done.append(orders)
        plan = reordered(self._plan, orders)
        measured = self._trials.rehearse(plan)
        if measured is None:
            return best
        self._measures.append(measured)
        is_shorter = measured.cycle_us < best.measured.cycle_us or not best.is_proved
        if not is_shorter or not self._trials.prove(plan):
            return best
        return Found(plan, orders, measured, True, 0, Shown.NOT, 0)

    def _told(self, best: Found, bound_us: int, shown: Shown) -> Found:
        bound_us = min(bound_us, best.measured.cycle_us) if best.is_proved else bound_us
        return replace(best, bound_us=bound_us, shown=shown, rehearsed=len(self._done))
