"""Ask CP-SAT for the order with the shortest cycle, and for the bound that no order beats.

Every step is an interval as long as it was measured after the step before it; a lane does one thing
at a time; all lanes leave a barrier together; a zone is leased until a step that ends outside it is
done. One worker, a fixed seed and a bound of the solver's own reckoning of work instead of a clock
make it repeatable.

Units: ``*_us`` whole microseconds.
Invariants: BO4, the same plan and measures give the same order.
Source: Perron, Furnon, OR-Tools, CP-SAT; AddCircuit for orders, as in its job-shop examples.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

from ortools.sat.python import cp_model

from coordinator.best_order.freedom import Orders, Stretch, stretches
from coordinator.best_order.measured import Measured
from coordinator.core.plan import NodeKind, Plan
from coordinator.sequence.models.cell_model import CellModel

WORK_MAX = 30.0
"""Chosen: what it may spend on one answer, in its own seconds, the same on every machine."""
Follows = tuple[cp_model.IntVar, ...]
"""All of them true: the one step comes next after the other."""


@dataclass(frozen=True, slots=True)
class BestOrder:
    """The shortest cycle that was found."""

    cycle_us: int
    """From the first step to the end, by the measured durations."""
    bound_us: int
    """No order is shorter, by the same durations."""
    orders: Orders

    @property
    def is_shortest(self) -> bool:
        """Tell whether it is shown that no order is shorter."""
        return self.cycle_us <= self.bound_us


def find_best_order(
    plan: Plan,
    cell: CellModel,
    measured: Measured,
    *,
    refused: Sequence[Orders] = (),
    is_fixed: bool = False,
) -> BestOrder | None:
    """Return the order with the shortest cycle; None if every order was refused.

    Args:
        plan: The plan as its file stands.
        cell: Which actions change and need tools.
        measured: How long everything took.
        refused: Orders that are not to be found again.
        is_fixed: Leave every lane as it stands: what the model makes of the present order.
    """
    model = _Model(plan, stretches(plan, cell), measured, is_fixed=is_fixed)
    for one in refused:
        model.refuse(one)
    return model.solve()


class _Model:
    """One plan as constraints."""

    def __init__(
        self,
        plan: Plan,
        lanes: Sequence[Sequence[Stretch]],
        measured: Measured,
        *,
        is_fixed: bool,
    ) -> None:
        self._plan, self._lanes, self._measured = plan, lanes, measured
        self._is_fixed = is_fixed
        self._model = cp_model.CpModel()
        # One after the other, all of it: no order takes longer.
        longest_us = dict(measured.steps_us)
        for (_, then), time_us in measured.ways_us.items():
            longest_us[then] = max(time_us, longest_us[then])
        self._horizon_us = sum(longest_us.values()) + sum(measured.meetings_us.values()) + 1
        self._met = [self._time(f"met {one.name}") for one in plan.barriers]
        self._starts = {node: self._time(f"start {node}") for node in measured.steps_us}
        self._times = {
            node: self._model.new_int_var(measured.steps_us[node], longest_us[node], f"time {node}")
            for node in measured.steps_us
        }
        self._end = self._time("end")
        self._finals: dict[int, Follows] = {}
        """What may be the last step of its lane."""
        self._next: dict[tuple[int, int], list[Follows]] = {}
        for lane in range(len(lanes)):
            self._add_lane(lane)
        self._add_ways()
        self._add_zones()
        self._model.minimize(self._end)

    def refuse(self, orders: Orders) -> None:
        """Let one combination of orders not be found."""
        steps = [pair for order in orders.values() for pair in pairwise(order)]
        ways = [self._next[pair][0] for pair in steps]
        self._model.add_bool_or([~literal for follows in ways for literal in follows])

    def solve(self) -> BestOrder | None:
        """Run the solver; None if no order is left."""
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        solver.parameters.max_deterministic_time = WORK_MAX
        status = solver.solve(self._model)
        if status == cp_model.INFEASIBLE:
            return None
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            raise ValueError(f"{self._plan.name}: no order was found in time; leave less free")
        orders = {
            one.nodes: tuple(sorted(one.nodes, key=lambda node: self._key(solver, one, node)))
            for lane in self._lanes
            for one in lane
            if one.is_free and not self._is_fixed
        }
        cycle_us = round(solver.objective_value)
        return BestOrder(cycle_us, round(solver.best_objective_bound), orders)

    def _key(self, solver: cp_model.CpSolver, stretch: Stretch, node: int) -> tuple[int, int, int]:
        start_us = solver.value(self._starts[node])
        return start_us, solver.value(self._times[node]), stretch.nodes.index(node)

    def _time(self, name: str) -> cp_model.IntVar:
        return self._model.new_int_var(0, self._horizon_us, name)

    def _end_of(self, node: int) -> cp_model.LinearExprT:
        return self._starts[node] + self._times[node]

    def _add_lane(self, lane: int) -> None:
        """Add a lane: its stretches, each behind the barrier before it."""
        barriers = [
            self._plan.nodes[node].barrier
            for node in sorted(self._plan.lanes[lane])
            if self._plan.nodes[node].kind is NodeKind.BARRIER
        ]
        gate: cp_model.LinearExprT = 0
        lasts: list[tuple[int, Follows]] = []
        for number, stretch in enumerate(self._lanes[lane]):
            for node in stretch.nodes:
                self._model.add(self._starts[node] >= gate)
            firsts, ends = self._add_stretch(stretch)
            for one, is_last in lasts:
                for then, is_first in firsts:
                    self._next.setdefault((one, then), []).append((*is_last, *is_first))
            lasts = ends if stretch.nodes else lasts
            if number == len(barriers):
                self._finals |= dict(lasts)
                self._model.add(self._end >= gate)
                for node in stretch.nodes:
                    self._model.add(self._end >= self._end_of(node))
                return
            self._keep_out(lane, barriers[number], ends)
            met = self._met[barriers[number]]
            self._model.add(met >= gate)
            for node in stretch.nodes:
                self._model.add(met >= self._end_of(node))
            gate = met + self._measured.meetings_us[barriers[number]]

    def _keep_out(self, lane: int, barrier: int, ends: Sequence[tuple[int, Follows]]) -> None:
        """Let no lane wait at a barrier inside a zone that another needs on its way there.

        By these durations it may have been there before; the proof leaves time out and refuses.
        """
        met = self._plan.barriers[barrier]
        others = [
            self._zone(node)
            for other, at in zip(met.lanes, met.nodes, strict=True)
            if other != lane
            for node in self._stretch_before(other, at).nodes
        ]
        for node, is_last in ends:
            if self._zone(node) >= 0 and self._zone(node) in others and is_last:
                self._model.add_bool_or([~literal for literal in is_last])

    def _stretch_before(self, lane: int, barrier_node: int) -> Stretch:
        lane_nodes = sorted(self._plan.lanes[lane])
        barriers = [one for one in lane_nodes if self._plan.nodes[one].kind is NodeKind.BARRIER]
        return self._lanes[lane][barriers.index(barrier_node)]

    def _add_stretch(
        self, stretch: Stretch
    ) -> tuple[list[tuple[int, Follows]], list[tuple[int, Follows]]]:
        """Add the steps of a stretch; return which may be its first and which its last."""
        nodes = stretch.nodes
        if not nodes:
            return [], []
        if self._is_fixed or not stretch.is_free:
            for one, then in pairwise(nodes):
                self._model.add(self._starts[then] >= self._end_of(one))
                self._next.setdefault((one, then), []).append(())
            return [(nodes[0], ())], [(nodes[-1], ())]
        for one, then in stretch.before:
            self._model.add(self._starts[then] >= self._end_of(one))
        arcs: list[tuple[int, int, cp_model.IntVar]] = []
        firsts: list[tuple[int, Follows]] = []
        lasts: list[tuple[int, Follows]] = []
        for at, node in enumerate(nodes, start=1):
            is_first, is_last = (self._model.new_bool_var(f"{word} {node}") for word in "fl")
            arcs += [(0, at, is_first), (at, 0, is_last)]
            firsts.append((node, (is_first,)))
            lasts.append((node, (is_last,)))
            for other, then in enumerate(nodes, start=1):
                if other == at or (then, node) in stretch.before:
                    continue
                is_next = self._model.new_bool_var(f"{node} then {then}")
                arcs.append((at, other, is_next))
                self._next.setdefault((node, then), []).append((is_next,))
                later = self._model.add(self._starts[then] >= self._end_of(node))
                later.only_enforce_if(is_next)
        self._model.add_circuit(arcs)
        return firsts, lasts

    def _zone(self, node: int) -> int:
        move = self._plan.nodes[node].move
        return -1 if move is None else move.zone

    def _add_ways(self) -> None:
        """Let every step take as long as it was measured to take after the one before it."""
        for (one, then), ways in self._next.items():
            for follows in ways:
                time = self._model.add(self._times[then] >= self._measured.after_us(one, then))
                if follows:
                    time.only_enforce_if(*follows)

    def _add_zones(self) -> None:
        """Lease each zone to one lane at a time."""
        zoned = [node for node in self._starts if self._zone(node) >= 0]
        leased = {node: self._time(f"leased {node}") for node in zoned}
        for node in zoned:
            self._model.add(leased[node] >= self._end_of(node))
            if node in self._finals:  # Nothing follows by which it would ever come out.
                kept = self._model.add(leased[node] >= self._horizon_us)
                kept.only_enforce_if(*self._finals[node])
            for then, follows in self._after(node):
                stays = self._zone(then) == self._zone(node)
                until = leased[then] if stays else self._end_of(then)
                self._model.add(leased[node] >= until).only_enforce_if(*follows)
        for one, other in combinations(zoned, 2):
            lanes = self._plan.nodes[one].lane, self._plan.nodes[other].lane
            if self._zone(one) != self._zone(other) or lanes[0] == lanes[1]:
                continue
            is_first = self._model.new_bool_var(f"{one} before {other}")
            first = self._model.add(leased[one] <= self._starts[other])
            first.only_enforce_if(is_first)
            second = self._model.add(leased[other] <= self._starts[one])
            second.only_enforce_if(~is_first)

    def _after(self, node: int) -> Iterator[tuple[int, Follows]]:
        for (one, then), ways in self._next.items():
            if one == node and self._plan.nodes[then].move is not None:
                for follows in ways:
                    yield then, follows
