"""Write a plan as a Promela model: its tables, the meaning of a sequence, and what may happen.

Invariants: PV22, the model for SPIN is made of the plan alone; neither the core nor the proof is
asked.
Source: Holzmann, The SPIN Model Checker, 2004, chapters 3 (Promela) and 17 (embedded C code).
"""

from collections.abc import Iterator
from functools import cache
from pathlib import Path

from coordinator.best_order.lane_order import lay_out
from coordinator.core.plan import InterlockKind, Option, Plan
from coordinator.sequence.compiler.own_properties import (
    Happening,
    HappeningKind,
    OwnProperty,
    PropertyKind,
)
from tests.support.promela.tables import (
    KINDS,
    OPTIONS,
    MoveTable,
    Tables,
    add_floor,
    add_meetings,
    add_nodes,
    add_pulls,
    add_rules,
    mask,
)

SHARED = ("together", "no_lone_pull", "one_in_a_zone", "no_motion_when_active", "rounds_together")
"""Properties that every plan is held to, numbered from 1 in the model."""
FIRST_OWN = 16
_HAPPENINGS = ("BEGINS", "ENDS", "UNDER_WAY", "ZONE", "SIGNAL")
_KINDS = {
    HappeningKind.BEGINS: 0,
    HappeningKind.ENDS: 1,
    HappeningKind.UNDER_WAY: 2,
    HappeningKind.ZONE: 3,
    HappeningKind.SIGNAL: 4,
}
_PROPERTIES = {PropertyKind.NEVER: 0, PropertyKind.ALWAYS_BEFORE: 1, PropertyKind.AT_MOST: 2}
_HELPFUL = tuple(
    option for option in OPTIONS if option not in (Option.HOLD, Option.ABORT, Option.LEAVE)
)


def to_promela(plan: Plan, properties: tuple[OwnProperty, ...] = (), causes: int = 1) -> str:
    """Return the model of a plan.

    Args:
        plan: What is to be judged.
        properties: What its author wants proved beside what every sequence is held to.
        causes: Up to how many things may go wrong in one run.

    Returns:
        The text; SPIN 6 makes a verifier of it, to be compiled and run with `-a`.
    """
    tables, moves, places = Tables(), MoveTable({}, [], []), lay_out(plan)
    add_nodes(tables, plan, places, moves)
    add_rules(tables, plan, places, moves)
    add_meetings(tables, plan, places, moves)
    pulls, pairs = add_pulls(tables, plan, places)
    add_floor(tables, plan, moves)
    spoken = [one for own in properties for one in own.happenings]
    _add_own(tables, plan, properties, spoken, moves)
    members = sum(node.barrier >= 0 and index in places.of for index, node in enumerate(plan.nodes))
    sizes = {
        "LANES": len(plan.parties),
        "ZONES": max(1, len(plan.zones)),
        "BARRIERS": len(plan.barriers),
        "SPANS": len(plan.spans),
        "INTERLOCKS": len(plan.interlocks),
        "MEMBERS": members,
        "PULLS": pulls,
        "PAIRS": pairs,
        "MOVES": len(moves.moves),
        "MARKED": len(moves.moves) * len(plan.parties),
        "SPOKEN": len(spoken),
        "OWN": len(properties),
        "MEMORY": max(1, len(properties)),
        "FIRST_OWN": FIRST_OWN,
        "CAUSES_MAX": causes,
        "CAUSES": max(1, causes),
        "SLOTS": max(1, causes) * len(plan.parties),
    }
    head = [f"/* {plan.name}: {plan.digest or 'no files'}; up to {causes} causes. */"]
    head += [f"#define {name} {value}" for name, value in (sizes | _constants(plan)).items()]
    head.append(f"#define MASK {_mask_type(plan)}")
    counters = f"static int begun[{len(spoken) + 1}], ended_now[{len(spoken) + 1}]"
    head.append(f"c_decl {{\n{tables.text()}\n{counters}, was[{len(spoken) + 1}];\n}}")
    return "\n".join([*head, _meaning(), *_world(plan, properties), ""])


def _constants(plan: Plan) -> dict[str, int]:
    def signals(*kinds: InterlockKind) -> int:
        return mask(one.signal for one in plan.interlocks if one.kind in kinds)

    trips = signals(InterlockKind.TRIP)
    watched = trips | signals(InterlockKind.INTERLOCK)
    found = {name: number for number, name in enumerate(KINDS)}
    found |= {name: number for number, name in enumerate(_HAPPENINGS)}
    found |= {"NEVER": 0, "BEFORE": 1, "AT_MOST": 2, "ABORTS": -2}
    found |= {"UNRULED": 250, "UNKNOWN": 251, "PARTNER": 252, "POINT": 253, "NONE": 255}
    return found | {
        "trips": trips,
        "to_start": trips | signals(InterlockKind.PERMISSIVE),
        "only_to_start": signals(InterlockKind.PERMISSIVE) & ~watched,
    }


def _mask_type(plan: Plan) -> str:
    return "byte" if max(len(plan.signals), len(plan.interlocks)) <= 8 else "int"


@cache
def _meaning() -> str:
    return Path(__file__).with_name("meaning.pml").read_text(encoding="utf-8")


def _add_own(
    tables: Tables,
    plan: Plan,
    properties: tuple[OwnProperty, ...],
    spoken: list[Happening],
    moves: MoveTable,
) -> None:
    begins = [0]
    for own in properties:
        begins.append(begins[-1] + len(own.happenings))
    tables.add("own_from", begins)
    tables.add("own_kind", (_PROPERTIES[own.kind] for own in properties))
    tables.add("own_times", (own.times for own in properties))
    tables.add("spoken_kind", (_KINDS[one.kind] for one in spoken))
    tables.add("spoken_signal", (max(one.signal, 0) for one in spoken))
    tables.add("spoken_good", (one.is_good for one in spoken))
    marks = []
    for one in spoken:
        for lane in range(len(plan.parties)):
            for move in moves.moves:
                if one.kind is HappeningKind.ZONE:
                    marks.append(move.zone == one.zone and one.lane in (-1, lane))
                else:
                    marks.append(one.matches(lane, move))
    tables.add("marks", marks)


def _world(plan: Plan, properties: tuple[OwnProperty, ...]) -> Iterator[str]:
    """Yield the one process: whatever may happen, and what follows at once."""
    yield "active proctype everything()\n{\nhappens_next:\n    atomic {\n    if"
    yield "    :: phase == idle -> deed = 1"
    for lane, party in enumerate(plan.parties):
        yield f"    /* {party.name} */"
        yield from _lane(lane)
        yield from _answers(lane, len(plan.zones))
    for signal in _watched(plan, properties):
        bit = 1 << signal
        yield f"    /* {plan.signals[signal].name} */"
        yield (
            f"    :: goes_wrong && live && phase != idle && !(bad & {bit}) -> "
            f"subject = {signal}; deed = {_deed('turns_bad()')}"
        )
        yield (
            f"    :: live && phase != idle && (bad & {bit}) -> "
            f"subject = {signal}; deed = {_deed('turns_good()')}"
        )
    for number, barrier in enumerate(plan.barriers):
        here = " || ".join(
            f"at[{lane}] == {place}"
            for lane, place in zip(barrier.lanes, _places_of(plan, number), strict=True)
        )
        yield f"    /* {barrier.name}: its time is over */"
        yield (
            f"    :: goes_wrong && phase == running && ({here}) -> "
            f"subject = {number}; deed = {_deed('run_out()')}"
        )
    yield from _END
    yield "        if"
    for number, deed in enumerate(_DEEDS):
        yield f"        :: deed == {number} -> {deed}"
    yield _SETTLE
    broken = [*range(1, len(SHARED) + 1), *(FIRST_OWN + one for one in range(len(properties)))]
    yield "    ".join(["", *(f"assert(hit != {one});" for one in broken)])
    yield _CLAIM


def _places_of(plan: Plan, barrier: int) -> tuple[int, ...]:
    places = lay_out(plan)
    return tuple(places.of.get(node, 0) for node in plan.barriers[barrier].nodes)


def _watched(plan: Plan, properties: tuple[OwnProperty, ...]) -> tuple[int, ...]:
    gating = {one.signal for one in plan.interlocks if one.kind is not InterlockKind.PERMISSIVE}
    spoken = {one.signal for own in properties for one in own.happenings if one.signal >= 0}
    return tuple(sorted(gating | spoken))


def _lane(lane: int) -> Iterator[str]:
    at_work = f"(is[{lane}] == works || is[{lane}] == moves)"
    going = "(phase == running || phase == holding)"
    state = f"is[{lane}]"
    for guard, act in (
        (f"{at_work} && {going}", "end_well()"),
        (
            f"{at_work} && (phase == holding || halts[{lane}])",
            "is[who] = cut; made[who] = 0; halts[who] = 0",
        ),
        (f"goes_wrong && {going} && {state} == works", "fail_step()"),
        (f"goes_wrong && {going} && {state} == moves", "fail_move()"),
        (
            f"goes_wrong && (phase == running || (phase == holding && {at_work}))",
            "lose()",
        ),
        (f"phase == running && {state} == comes", "is[who] = armed"),
        (f"goes_wrong && phase == running && {state} == comes", "causes++; hold()"),
        (
            f"phase == running && ({state} == ready || {state} == backs)"
            f" && c_expr {{ kind[now.at[{lane}]] == STEP && now.bad & gates[now.at[{lane}]] }}",
            "hold()",
        ),
    ):
        yield f"    :: {guard} -> lane = {lane}; deed = {_deed(act)}"


_TABLE_OF_RULE = "rules_from[now.at[{0}]] + now.fault[{0}] - 1"
_APPLIES = {
    Option.BACK_OFF: "now.then[{0}] != backed && now.fault[{0}] && now.fault[{0}] < UNRULED"
    f" && recover_count[{_TABLE_OF_RULE}]",
    Option.BY_HAND: "kind[now.at[{0}]] == STEP"
    " && now.then[{0}] != leaving && now.then[{0}] != going",
    Option.REPLACE_BOLT: "own_span[now.at[{0}]] >= 0 && round_of[now.at[{0}]]",
    Option.BACK_A_ROUND: "own_span[now.at[{0}]] >= 0 && round_of[now.at[{0}]]",
    Option.LEAVE: "leave_count[now.at[{0}]]",
}
_ACTS = {
    Option.AGAIN: "answer_again()",
    Option.RELEASE: "pass(who)",
    Option.BACK_OFF: "recover(who, 0); then[who] = asking",
    Option.BY_HAND: "answer_by_hand()",
    Option.REPLACE_BOLT: "answer_back(0)",
    Option.BACK_A_ROUND: "answer_back(1)",
    Option.LEAVE: "answer_leave()",
    Option.HOLD: "is[who] = (fault[who] == POINT -> ready : faulted); prompt[who] = 0; hold()",
    Option.ABORT: "phase = ended",
}


def _answers(lane: int, zones: int) -> Iterator[str]:
    for number, option in enumerate(OPTIONS):
        guard = f"offers[now.prompt[{lane}]] >> {number} & 1"
        if option in _APPLIES:
            guard += " && " + _APPLIES[option].format(lane)
        for zone in range(zones) if option is Option.BY_HAND else ():
            # Where an arm stands only its own moves can tell: none is left by hand.
            move = f"move_of[now.at[{lane}]]"
            stays = f"{move} >= 0 && zone_of[{move}] == {zone}"
            guard += f" && (now.holder[{zone}] != {lane + 1} || {stays})"
        asked = f"phase == running && is[{lane}] == asked && c_expr {{ {guard} }}"
        if option not in _HELPFUL:
            asked += " && !helped"
        yield f"    :: {asked} -> lane = {lane}; deed = {_deed(_ACTS[option])}"


_DEEDS = (
    "skip",
    "start()",
    "end_well()",
    "is[who] = cut; made[who] = 0; halts[who] = 0",
    "fail_step()",
    "fail_move()",
    "lose()",
    "is[who] = armed",
    "causes++; hold()",
    "hold()",
    *_ACTS.values(),
    "turns_bad()",
    "turns_good()",
    "run_out()",
    "restart()",
    "phase = ended",
    "helped = 1",
)
"""Whatever may happen; each stands once in the model, whoever does it."""


def _deed(text: str) -> int:
    return _DEEDS.index(text)


_END = (
    "    /* People */",
    "    :: phase == held && !(bad & to_start) && (!helped || !bad) -> "
    f"deed = {_deed('restart()')}",
    f"    :: phase == held && !helped -> deed = {_deed('phase = ended')}",
    "    /* From here on nothing more goes wrong, and whoever is asked helps. */",
    f"    :: live && !helped && phase != idle -> deed = {_deed('helped = 1')}",
    "    :: phase == complete || phase == ended -> goto over",
    "    fi;",
    f"    if :: deed == {_deed('fail_step()')} -> choose_fault() :: deed == {_deed('lose()')} ->",
    "        if :: chosen = 0 :: chosen = 1 fi",
    "    :: else fi;",
    "    skip; /* No jump may lead into what follows. */",
    "    d_step {",
    "        who = lane; moving = subject;",
    "        c_code { take_stock(); };",
)
_SETTLE = """        fi;
        settle();
        c_code { hit = judge(); };
        if :: phase == ended -> c_code { forget(); } :: else fi;
        lane = 0; subject = 0; deed = 0; chosen = 0; other = 0
    };"""

_CLAIM = """    }
    goto happens_next;
over:
    skip
}

/* Once nothing more goes wrong and people help, it must not go on for ever, nor stand still. */
never {
    do
    :: !helped || !live
    :: helped && live -> break
    od;
accept:
    do
    :: helped && live
    od
}"""
