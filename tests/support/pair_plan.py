"""A plan with one of everything: two arms and a hoist, a meeting, a paired pull, a zone, a trip.

Units: ``*_us`` whole microseconds; ``*_nm`` whole newton metres.
"""

from dataclasses import replace

from coordinator.core.plan import (
    Barrier,
    Exhausted,
    Interlock,
    InterlockKind,
    Move,
    Node,
    NodeKind,
    Option,
    Party,
    Plan,
    Prompt,
    Record,
    Rule,
    Signal,
    Span,
)

FORE, AFT, HOIST = 0, 1, 2
MEET, OPEN, CLOSE, AWAY = 0, 1, 2, 3
INTERLOCK, TRIP = 0, 1
LOCATE = Move("locate")
PULL = Move("pull", timeout_us=20_000_000, on_hold="relieve")
_ASK = Rule("not_reached", 2, (Move("relieve"),), then=Exhausted.ASK, prompt=0)
_PULLING = (_ASK, Rule("out_of_balance", 2), Rule("out_of_step", 2))
_SEATING = (Rule("not_seated", 3, (Move("lift"), Move("index")), then=Exhausted.ASK, prompt=0),)
_FOLLOWS = (
    ["pick", "park", "meet", "seat", "open", "pull", "close", "lift", "away"],
    ["pick", "park", "meet", "seat", "open", "pull", "close", "lift", "away"],
    ["lower", "meet", "away"],
)
_BARRIERS = {"meet": MEET, "open": OPEN, "close": CLOSE, "away": AWAY}
_STEPS = {
    "pick": Node("pick", 0, NodeKind.STEP, (), move=Move("pick", zone=0)),
    "park": Node("park", 0, NodeKind.STEP, (), move=Move("park")),
    "seat": Node(
        "seat", 0, NodeKind.STEP, (), move=Move("seat"), rules=_SEATING, rechecks=(LOCATE,)
    ),
    "pull": Node(
        "pull",
        0,
        NodeKind.STEP,
        (),
        move=PULL,
        rules=_PULLING,
        rechecks=(LOCATE,),
        span=0,
        record=Record(1, "pull", 1, 1000.0),
    ),
    "lift": Node("lift", 0, NodeKind.STEP, (), move=Move("lift")),
    "lower": Node(
        "lower",
        0,
        NodeKind.STEP,
        (),
        move=Move("lower"),
        exceptions=((INTERLOCK, "this step is the movement itself"),),
    ),
}


def pair_plan() -> Plan:
    """Return the plan."""
    nodes: list[Node] = []
    lanes: list[tuple[int, ...]] = []
    places: dict[tuple[str, int], int] = {}
    for lane, names in enumerate(_FOLLOWS):
        members: list[int] = []
        for name in names:
            after = (members[-1],) if members else ()
            places[name, lane] = len(nodes)
            members.append(len(nodes))
            nodes.append(_node(name, lane, after))
        lanes.append(tuple(members))
    at = places.__getitem__
    return Plan(
        name="pair",
        parties=(Party("fore"), Party("aft"), Party("hoist", is_arm=False)),
        nodes=tuple(nodes),
        lanes=tuple(lanes),
        barriers=(
            _barrier(places, "meet", (0, 1, 2), ("seat", "seat", "")),
            _barrier(places, "open", (0, 1), ("pull", "pull"), span=0),
            _barrier(places, "close", (0, 1), ("lift", "lift")),
            _barrier(places, "away", (0, 1, 2), ("", "", "")),
        ),
        spans=(_span(at(("pull", 0)), at(("pull", 1))),),
        interlocks=(
            Interlock("load_overhead", 0, InterlockKind.INTERLOCK, "a load hangs overhead"),
            Interlock("nobody_inside", 1, InterlockKind.TRIP, "somebody is inside the line"),
        ),
        signals=(Signal("no_load", 1_000_000), Signal("nobody", 1_000_000)),
        zones=("bore",),
        prompts=(
            Prompt(
                "trouble",
                "Look at the wrench.",
                "Stay clear.",
                ((Option.AGAIN, "again"), (Option.HOLD, "hold"), (Option.ABORT, "abort")),
            ),
        ),
        digest="e" * 64,
    )


def asking_plan() -> Plan:
    """Return a plan that asks at the first fault of a pull, with every answer that it offers."""
    plan = pair_plan()
    rules = (Rule("not_reached", 1, (Move("relieve"),), then=Exhausted.ASK, prompt=0),)
    leave = (Move("lift"), Move("park"))
    nodes = tuple(
        replace(node, rules=rules, leave=leave) if node.name == "pull" else node
        for node in plan.nodes
    )
    options = (Option.AGAIN, Option.BY_HAND, Option.LEAVE, Option.ABORT)
    asked = replace(plan.prompts[0], options=tuple((one, one.value) for one in options))
    return replace(plan, nodes=nodes, prompts=(asked,))


def _span(fore_pull: int, aft_pull: int) -> Span:
    nodes = ((fore_pull,), (aft_pull,))
    return Span("open", OPEN, CLOSE, (0, 1), nodes, balance_nm=600, stop_us=2_000_000)


def _node(name: str, lane: int, after: tuple[int, ...]) -> Node:
    if name in _BARRIERS:
        return Node(name, lane, NodeKind.BARRIER, after, barrier=_BARRIERS[name])
    return replace(_STEPS[name], lane=lane, after=after)


def _barrier(
    places: dict[tuple[str, int], int],
    name: str,
    lanes: tuple[int, ...],
    following: tuple[str, ...],
    *,
    span: int = -1,
) -> Barrier:
    return Barrier(
        name,
        lanes,
        tuple(places[name, lane] for lane in lanes),
        tuple(
            places[word, lane] if word else -1 for word, lane in zip(following, lanes, strict=True)
        ),
        span=span,
    )
