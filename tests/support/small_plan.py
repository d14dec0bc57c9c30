"""A plan small enough to see through: two arms, one barrier, one bolt pulled by each."""

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
)

PULL = Move("pull", (("target", 1000.0),), timeout_us=20_000_000, on_hold="relieve")


def small_plan(*, with_signal: bool = False) -> Plan:
    """Return the plan; with a floor signal whose interlock gates every motion, if asked."""
    rules = (Rule("torque_not_reached", then=Exhausted.ASK, prompt=0),)
    nodes = (
        Node("park", 0, NodeKind.STEP, (), move=Move("park")),
        Node("meet", 0, NodeKind.BARRIER, (0,), barrier=0),
        Node(
            "pull_1",
            0,
            NodeKind.STEP,
            (1,),
            move=PULL,
            rules=rules,
            record=Record(1, "pull", 1, 1000.0),
        ),
        Node("meet", 1, NodeKind.BARRIER, (), barrier=0),
        Node(
            "pull_5",
            1,
            NodeKind.STEP,
            (3,),
            move=PULL,
            rules=rules,
            record=Record(5, "pull", 1, 1000.0),
        ),
    )
    prompt = Prompt(
        "torque_trouble",
        "Look at the wrench.",
        "Stay clear.",
        ((Option.AGAIN, "pulls again"), (Option.HOLD, "holds both"), (Option.ABORT, "ends it")),
    )
    return Plan(
        name="small",
        parties=(Party("fore"), Party("aft")),
        nodes=nodes,
        lanes=((0, 1, 2), (3, 4)),
        barriers=(Barrier("meet", (0, 1), (1, 3), (2, 4)),),
        interlocks=(Interlock("nobody_inside", 0, InterlockKind.INTERLOCK),) if with_signal else (),
        signals=(Signal("nobody_inside", 500_000),) if with_signal else (),
        prompts=(prompt,),
        digest="d" * 64,
    )
