"""Where lanes are cut, and which of their pieces are alike."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from coordinator.core.plan import Move, Node, Plan
from coordinator.prove import Limits
from coordinator.prove.explore import start_of
from coordinator.prove.graph import Expander
from coordinator.prove.local import ProofError, _Mover
from coordinator.prove.own import Own
from coordinator.prove.pieces import Pieces, Place, Places
from coordinator.prove.store import Store
from coordinator.sequence import load
from tests.support.own_properties import PROMISED
from tests.support.pair_plan import pair_plan
from tests.support.sequence_files import SEQUENCES


def changed(change: Callable[[Node], Node], at: int = 0) -> Plan:
    """Return the pair plan with one node changed."""
    plan = pair_plan()
    nodes = [change(node) if index == at else node for index, node in enumerate(plan.nodes)]
    return replace(plan, nodes=tuple(nodes))


def moved(**fields: object) -> Callable[[Node], Node]:
    """Return a change of a node's move."""

    def change(node: Node) -> Node:
        assert node.move is not None
        return replace(node, move=replace(node.move, **fields))  # type: ignore[arg-type]  # any

    return change


def kinds_of(*plans: Plan, own: Own | None = None) -> list[int]:
    """Return of each plan which kind its first places are."""
    kinds: dict[object, int] = {}
    owns = (own, *(None for _ in plans[1:]))
    return [
        Pieces(plan, kinds, own=one).kind_of(tuple(Place(0) for _ in plan.lanes))
        for plan, one in zip(plans, owns, strict=True)
    ]


SEEN = (
    moved(action="other"),
    moved(timeout_us=1),
    moved(no_progress_us=1),
    moved(on_hold="finish"),
    moved(zone=-1),
    lambda node: replace(node, exceptions=((0, "it must"),)),
    lambda node: replace(node, permissives=(0,)),
    lambda node: replace(node, rechecks=(Move("locate"),)),
    lambda node: replace(node, leave=(Move("back"),)),
    lambda node: replace(node, is_witness=True),
)
UNSEEN = (
    moved(parameters=(("bolt", 7),)),
    lambda node: replace(node, name="another"),
)


@pytest.mark.parametrize("change", SEEN)
def test_places_that_differ_in_what_the_core_reads_are_not_alike(
    change: Callable[[Node], Node],
) -> None:
    """PV10: what holds at one of them would be taken for proved at the other."""
    one, other = kinds_of(pair_plan(), changed(change))

    assert one != other


@pytest.mark.parametrize("change", UNSEEN)
def test_places_that_differ_in_name_and_parameter_alone_are_alike(
    change: Callable[[Node], Node],
) -> None:
    """PV10: else each bolt would be walked through by itself."""
    one, other = kinds_of(pair_plan(), changed(change))

    assert one == other


def test_a_step_that_a_property_speaks_of_is_like_no_step_without() -> None:
    """PV10: where only one of them counts for the author, one cannot stand for the other."""
    plan = pair_plan()
    speaks = Own(plan, (next(one.own for one in PROMISED if one.own.name == "both_pick"),))

    one, other = kinds_of(plan, plan, own=speaks)

    assert one != other


@pytest.mark.parametrize("name", ["makeup_6", "replace_bolt"])
def test_no_recovery_and_no_span_reaches_across_a_cut(name: str) -> None:
    """PV11: what lies behind a cut would be looked at, though it is no part of the place."""
    plan = load(SEQUENCES / f"{name}.yaml").plan
    pieces = Pieces(plan, {})
    back = [
        (index, rule.again_from)
        for index, node in enumerate(plan.nodes)
        for rule in node.rules
        if rule.again_from >= 0
    ]
    spans = [
        (plan.barriers[span.opens].nodes[at], plan.barriers[span.closes].nodes[at])
        for span in plan.spans
        for at in range(len(span.lanes))
    ]

    across = [
        pair for pair in (*back, *spans) if pieces.piece_of(pair[0]) != pieces.piece_of(pair[1])
    ]

    assert back
    assert spans
    assert across == []
    assert any(len(starts) > 1 for starts in pieces.starts)


def test_a_state_that_looks_different_where_it_is_moved_ends_the_proof(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """PV13: a proof that went on would stand for states that it has never seen."""
    expander = Expander(
        Own(load(SEQUENCES / "makeup_6.yaml").plan), Limits(0), Store(), is_orderly=True
    )
    local, start = expander.local, start_of(expander)
    known: dict[int, Places] = {}
    for piece in range(min(len(starts) for starts in local.pieces.starts[:2])):
        there = (Place(piece), Place(piece), Place(0))
        here = known.setdefault(local.pieces.kind_of(there), there)
        if here != there:
            break
    first = local.places_of(start.state)
    node = local.move(start, local, first, here, is_alike=False)

    moved = local.move(node, local, here, there)
    assert moved != node
    assert local.look(moved, there) == local.look(node, here)
    as_it_is = _Mover.lane
    monkeypatch.setattr(_Mover, "lane", lambda *at: as_it_is(*at)._replace(node=-2))
    with pytest.raises(ProofError, match="looks different"):
        local.move(node, local, here, there)
