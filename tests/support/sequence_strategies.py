"""Strategies: sound cells, joints and sequences as plain data, and what can be done to spoil them.

Whatever `cells_and_sequences` gives must load, compile and come to an end in a dry run.
"""

from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass, field
from typing import Any

from hypothesis import strategies as st

from tests.support.sequence_data import Files, shipped_cell

Draw = Callable[[st.SearchStrategy[Any]], Any]
Step = dict[str, Any]
SIDES = (("fore", "aft"), ("port", "starboard"), ("left", "right"), ("a", "b"))
JOINTS: tuple[dict[str, str], ...] = (
    {
        "thread": "2-8UN",
        "grade": "A193 B7",
        "hex_across_flats": "3.125 in",
        "bolt_circle": "603 mm",
        "grip": "210 mm",
        "engagement": "60 mm",
    },
    {
        "thread": "M30",
        "grade": "8.8",
        "hex_across_flats": "46 mm",
        "bolt_circle": "410 mm",
        "grip": "80 mm",
        "engagement": "30 mm",
    },
)
PULL_FAULTS = ("torque_not_reached", "out_of_balance", "out_of_step", "leak", "reaction_lost")
NEVER_ALONE = ("leak", "reaction_lost")
POLICIES: dict[str, dict[str, list[Step]]] = {
    "locating": {"not_located": []},
    "seating": {
        "socket_not_seated": [
            {"do": "lift_wrench"},
            {"do": "index_socket", "with": {"by": "10 deg"}},
        ]
    },
    "picking": {"socket_not_seated": [{"do": "lift"}, {"do": "turn_socket"}], "bolt_not_held": []},
    "starting": {
        "thread_stalled": [{"do": "back_off", "with": {"turns": 2}}, {"do": "lift"}],
        "never_entered": [{"do": "lift"}, {"do": "locate_hole"}],
    },
    "pulling": {fault: [] for fault in PULL_FAULTS},
    "breaking": {"out_of_step": [], "out_of_balance": [], "reaction_lost": []},
}
"""For each policy the faults that its steps can raise, with the moves of their recovery."""


@dataclass(slots=True)
class _Sketch:
    """A sequence while it is drawn."""

    draw: Draw
    sides: tuple[str, str]
    bolts: int
    sections: dict[str, dict[str, Any]] = field(default_factory=dict)
    lanes: dict[str, list[Step]] = field(default_factory=dict)
    hoist: str | None = None
    ids: int = 0

    def name(self, section: str, stem: str, content: Any) -> str:
        """Declare something under a new name and return the name."""
        table = self.sections.setdefault(section, {})
        name = f"{stem}_{len(table) + 1}"
        table[name] = content
        return name

    def flip(self) -> bool:
        """Return yes or no."""
        return bool(self.draw(st.booleans()))

    def policy(self, name: str) -> dict[str, str]:
        """Return the key of a policy for a step, or nothing; declare it when it is first used."""
        if not self.flip():
            return {}
        table = self.sections.setdefault("policies", {})
        if name not in table:
            table[name] = {
                fault: self._rule(fault, moves) for fault, moves in POLICIES[name].items()
            }
        return {"policy": name}

    def _rule(self, fault: str, moves: list[Step]) -> dict[str, Any]:
        rule: dict[str, Any] = {"then": self.draw(st.sampled_from(["hold", "abort", "ask"]))}
        if rule["then"] == "ask":
            prompt = {
                "text": "Look.",
                "caution": "WARNING: stay clear.",
                "options": {"again": "tries again", "hold": "holds", "abort": "ends"},
            }
            rule["then"] = {"ask": self.name("prompts", "look", prompt)}
        if fault not in NEVER_ALONE:
            rule["attempts"] = self.draw(st.integers(1, 3))
        if moves:
            rule["recover"] = deepcopy(moves)
        return rule

    def both(self, make: Callable[[int], list[Step]]) -> None:
        """Let both sides do something; `make` is told the number of the side."""
        for number, side in enumerate(self.sides):
            self.lanes[side] += make(number)

    def wrapped(self, stem: str, steps: list[Step], takes: dict[str, list[Any]]) -> None:
        """Add steps to both lanes as a block; each parameter has a value for either side."""
        block = self.name("blocks", stem, {"takes": list(takes), "steps": steps})
        for number, side in enumerate(self.sides):
            given = {name: values[number] for name, values in takes.items()}
            self.lanes[side].append({"use": block, "with": given} if given else {"use": block})


@st.composite
def cells_and_sequences(draw: Draw) -> Files:
    """A sound cell, joint and sequence."""
    sides = draw(st.sampled_from(SIDES))
    hoist = draw(st.sampled_from([None, "hoist", "crane"]))
    joint = draw(_joints())
    sketch = _Sketch(draw, sides, joint["bolts"]["count"], hoist=hoist)
    sketch.lanes = {side: [] for side in sides}
    if hoist is not None:
        sketch.lanes[hoist] = []
    begins = draw(st.sampled_from(["joint_open", "joint_made_up"]))
    kinds = [_wait_for_each_other, _look_about, _pass_a_point]
    kinds += [_fit_bolts] if begins == "joint_open" else [_pull_one_pair, _pull_in_loops]
    for kind in draw(st.lists(st.sampled_from(kinds), min_size=1, max_size=3)):
        kind(sketch)
    if begins == "joint_made_up" and sketch.flip():
        _break_loose(sketch)
    if hoist is not None and not sketch.lanes[hoist]:
        _wait_for_each_other(sketch, with_hoist=True)
    sketch.both(lambda _: [{"do": "park"}])
    head = {
        "sequence": draw(st.from_regex(r"[b-z][a-z0-9_]{0,12}_", fullmatch=True)),
        "text": draw(st.sampled_from(["A job", "Äußerst kurz: 2 Bolzen", "'quoted' # no comment"])),
        "cell": "cells/cell.yaml",
        "joint": "joints/joint.yaml",
        "begins": begins,
    }
    sequence = head | sketch.sections | {"lanes": sketch.lanes}
    derived = draw(st.sampled_from([None, _derived(sequence)]))
    return Files(_cell(draw, sides, hoist), joint, sequence, derived)


def _derived(sequence: dict[str, Any]) -> dict[str, Any]:
    """A file that is based on the sequence, and gives its values as they are there."""
    given = {key: sequence[key] for key in ("joint", "values") if key in sequence}
    return {"sequence": "derived", "text": "The same", "based_on": "drawn.yaml"} | given


def _cell(draw: Draw, sides: tuple[str, str], hoist: str | None) -> dict[str, Any]:
    cell = deepcopy(shipped_cell())
    cell["sides"] = dict(zip(sides, cell["sides"].values(), strict=True))
    for side in cell["sides"].values():
        for tool in ("spinner", "wrench"):
            side["tools"][tool]["sockets"].append("46 mm")
    if hoist is None:
        del cell["hoist"]
    else:
        cell["hoist"] = hoist
    if draw(st.booleans()):
        del cell["timing"]
    for name in ("supply_low", "string_moving", "load_overhead"):
        if draw(st.booleans()):
            del cell["interlocks"][name]
    return cell


@st.composite
def _joints(draw: Draw) -> dict[str, Any]:
    bolts = dict(draw(st.sampled_from(JOINTS)))
    shares = sorted(draw(st.sets(st.integers(20, 90), max_size=2)))
    tightening = {
        "stress": f"{draw(st.integers(120, 320))} MPa",
        "friction": draw(st.sampled_from([0.07, 0.1, 0.14])),
        "rounds": [*(f"{share} %" for share in shares), "100 %"],
        "check_angle": "2 deg",
        "tolerance": "5 %",
    }
    return {
        "joint": "drawn",
        "text": "A joint",
        "bolts": {"count": draw(st.sampled_from([4, 6, 8, 12]))} | bolts,
        "tightening": tightening,
        "loosening": {"torque_max": "6 kN.m"},
    }


# Parts of a sequence ------------------------------------------------------------------------------


def _wait_for_each_other(sketch: _Sketch, *, with_hoist: bool | None = None) -> None:
    """A barrier of both sides, and of the hoist if there is one and it likes."""
    timeout = sketch.draw(st.sampled_from(["20 min", "1 h", "2000 s"]))
    barrier = sketch.name("barriers", "meet", {"timeout": timeout})
    joins = sketch.flip() if with_hoist is None else with_hoist
    for lane, steps in sketch.lanes.items():
        if lane != sketch.hoist or joins:
            steps.append({"barrier": barrier})


def _look_about(sketch: _Sketch) -> None:
    """Steps that need no tool, some of them in free order."""

    def steps(_: int) -> list[Step]:
        sketch.ids += 1
        first: Step = {"do": "park", "id": f"seen_{sketch.ids}"}
        found = [first]
        for _number in range(sketch.draw(st.integers(0, 3))):
            bolt = sketch.draw(st.integers(1, sketch.bolts))
            step: Step = sketch.draw(
                st.sampled_from(
                    [
                        {"do": "lift"},
                        {"do": "locate_joint"},
                        {"do": "locate_hole", "with": {"bolt": bolt}},
                        {"do": "park", "timeout": "90 s", "no_progress": "20 s"},
                        {"do": "park", "on_hold": "finish"},
                        {"do": "park", "recheck": ["locate_joint"]},
                        {"do": "lift", "permissives": ["person_on_floor"]},
                    ]
                )
            )
            step = deepcopy(step)
            if step["do"].startswith("locate"):
                step |= sketch.policy("locating")
            if "with" in step and sketch.flip():
                step["with"] = {"bolt": f"${sketch.name('values', 'bolt', bolt)}"}
            if sketch.flip():
                step["after"] = [first["id"]]
            found.append(step)
        return found

    sketch.both(steps)


def _pass_a_point(sketch: _Sketch) -> None:
    """A hold point or a witness point, of one side or of both."""
    point = {
        "kind": sketch.draw(st.sampled_from(["hold", "witness"])),
        "who": "the inspector",
        "text": "Look.",
        "caution": "WARNING: stay clear.",
    }
    name = sketch.name("points", "point", point)
    sides = sketch.sides[: sketch.draw(st.integers(1, 2))]
    for side in sides:
        sketch.lanes[side].append({"point": name})


def _paired(sketch: _Sketch) -> tuple[str, str]:
    """Declare the two barriers of a paired span."""
    closes = sketch.name("barriers", "together", {"timeout": "20 min"})
    opens = {
        "timeout": "20 min",
        "window": "50 ms",
        "paired_until": closes,
        "balance": "1500 N.m",
        "stop": "3 s",
    }
    return sketch.name("barriers", "together", opens), closes


def _pull_steps(sketch: _Sketch, bolt: Any, neighbour: Any, torque: str) -> list[Step]:
    opens, closes = _paired(sketch)
    pull: Step = {"do": "pull", "with": {"bolt": bolt, "torque": torque}}
    if sketch.flip():
        pull["expect"] = {"torque_nm": ["1 N.m", "9 kN.m"]}
    if sketch.flip():
        pull["round"] = sketch.draw(st.integers(1, 5))
    steps: list[Step] = [
        {"do": "seat_wrench", "with": {"bolt": bolt}} | sketch.policy("seating"),
        {"do": "react", "with": {"bolt": bolt, "on": neighbour}},
        {"barrier": opens},
        pull | sketch.policy("pulling"),
    ]
    if sketch.flip():
        steps.append({"do": "confirm_torque", "with": {"bolt": bolt, "torque": torque}})
    return [*steps, {"barrier": closes}, {"do": "lift_wrench", "with": {"bolt": bolt}}]


def _mount(sketch: _Sketch, tool: str) -> None:
    sketch.both(lambda _: [{"do": "change_tool", "with": {"tool": tool}}])


def _pull_one_pair(sketch: _Sketch) -> None:
    """Two opposite bolts, written out or as a block with parameters."""
    _mount(sketch, "wrench")
    half = sketch.bolts // 2
    own = sketch.draw(st.integers(1, half))
    bolts = [own, own + half]
    neighbours = [bolt % sketch.bolts + 1 for bolt in bolts]
    if sketch.flip():
        steps = _pull_steps(sketch, "$bolt", "$next", "$joint.torque")
        sketch.wrapped("pull", steps, {"bolt": bolts, "next": neighbours})
        return
    steps = _pull_steps(sketch, "BOLT", "NEXT", "$joint.torque")
    sketch.both(lambda side: _filled(steps, {"BOLT": bolts[side], "NEXT": neighbours[side]}))


def _filled(steps: list[Step], values: dict[str, int]) -> list[Step]:
    """Return steps with words replaced by values."""

    def put(data: Any) -> Any:
        if isinstance(data, dict):
            return {key: put(value) for key, value in data.items()}
        if isinstance(data, list):
            return [put(value) for value in data]
        return values.get(data, data) if isinstance(data, str) else data

    return [put(step) for step in steps]


def _pull_in_loops(sketch: _Sketch) -> None:
    """Every pair, once or in every round."""
    _mount(sketch, "wrench")
    in_rounds = sketch.flip() and sketch.bolts <= 6
    torque = "$round.torque" if in_rounds else "$joint.torque"
    steps = _pull_steps(sketch, "$pair.own", "$pair.neighbour", torque)
    loop: Step = {"each": "pair", "steps": steps}
    sketch.wrapped("all", [{"each": "round", "steps": [loop]} if in_rounds else loop], {})


def _fit_bolts(sketch: _Sketch) -> None:
    """Each side picks, places and runs up some or all of its bolts; once in a sequence."""
    if any(name.startswith("fit") for name in sketch.sections.get("blocks", {})):
        _look_about(sketch)
        return
    _mount(sketch, "spinner")
    whole = {"with": {"bolt": "$bolt"}}
    again: Step = {"id": "place"} if sketch.flip() else {}
    starting = sketch.policy("starting")
    if again and starting:
        for rule in sketch.sections["policies"]["starting"].values():
            rule["again_from"] = "place"
    steps: list[Step] = [
        {"do": "locate_hole"} | whole | sketch.policy("locating"),
        {"do": "locate_bolt"} | whole | sketch.policy("locating"),
        {"do": "turn_socket"} | whole,
        {"do": "pick_bolt"} | whole | sketch.policy("picking"),
        {"do": "place_bolt"} | whole | again,
        {"do": "run_up"} | whole | starting,
        {"do": "let_go"} | whole,
    ]
    if sketch.flip():
        block = sketch.name("blocks", "fit", {"takes": ["bolt"], "steps": steps})
        use = {"use": block, "with": {"bolt": "$own_bolt"}}
        sketch.both(lambda _: [{"each": "own_bolt", "steps": [deepcopy(use)]}])
        return
    bolt = sketch.draw(st.integers(1, sketch.bolts // 2))
    sketch.wrapped("fit", steps, {"bolt": [bolt, bolt + sketch.bolts // 2]})


def _break_loose(sketch: _Sketch) -> None:
    """Opposite bolts are broken loose together, with the wrench turned over."""
    _mount(sketch, "wrench")
    sketch.both(lambda _: [{"do": "turn_wrench_over"}])
    opens, closes = _paired(sketch)
    own = {"bolt": "$pair.own"}
    steps: list[Step] = [
        {"do": "seat_wrench", "with": dict(own)},
        {"do": "react", "with": own | {"on": "$pair.other_neighbour"}},
        {"barrier": opens},
        {"do": "break_loose", "with": own | {"torque_max": "$joint.loosening_torque_max"}}
        | sketch.policy("breaking"),
        {"barrier": closes},
        {"do": "lift_wrench", "with": dict(own)},
    ]
    sketch.wrapped("loosen", [{"each": "pair", "steps": steps}], {})
