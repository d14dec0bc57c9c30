"""Know where each arm's tool is, by what it has reported done; not known where nobody has said it.

An arm is at a place from when it reports the end of an action that ends there. While it is under
way to another place, and after it was stopped on the way, nobody knows where it is.

Units: metre; ``*_us`` microseconds since the run began.
Invariants: PG12, a tool is shown at a place only if its arm has reported an action that ends there
and nothing since that leads away.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

from coordinator.core.effects import Effect, SendDo
from coordinator.core.events import CommandFaulted, CommandFinished, CommandInterrupted, Event
from coordinator.core.plan import Move, Plan
from coordinator.core.state import Lane

ENDS_AT = {
    "park": "park",
    "change_tool": "rack",
    "fit_cover": "joint",
    "take_cover": "park",
    "fit_pin": "bolt.{hole}",
    "take_pin": "rack",
    "locate_joint": "joint",
    "locate_hole": "bolt.{bolt}",
    "pick_bolt": "bin",
    "stow_bolt": "bin",
    **dict.fromkeys(("place_bolt", "run_up", "let_go", "back_off", "back_out"), "bolt.{bolt}"),
    **dict.fromkeys(("seat_wrench", "react", "lift_wrench"), "bolt.{bolt}"),
    **dict.fromkeys(("pull", "confirm_torque", "check_torque", "break_loose"), "bolt.{bolt}"),
    **dict.fromkeys(("lift", "index_socket", "turn_socket", "turn_wrench_over"), ""),
    "stand_by": "",
}
"""Action -> the place where an arm is once it has done it; empty where it stays. Judged against
the simulated arms in tests/scenario/test_page_arms.py. `locate_bolt` depends on the bolt."""
ON_PIPE = {
    "bring_length": "hangs",
    "stab_length": "on_pins",
    "land_length": "landed",
    "take_string": "taken",
    "set_down_string": "landed",
    "lift_length": "lifted",
}
"""Action of the hoist -> where the length is once it is done."""
Flat = tuple[float, float]


class Geometry(Protocol):
    """Where things are in plan, as the models of the program have it."""

    def drawing(self) -> Mapping[str, Any]:
        """Return what never changes: bolts, bases, places, sizes."""

    def links(self, side: str, place: str) -> Sequence[Flat] | None:
        """Return base, shoulder, elbow, wrist and tool of an arm at a place, None if unknown."""


@dataclass(slots=True)
class _Arm:
    """What is known of one arm."""

    place: str = ""
    """Empty where nobody knows."""
    at_us: int = 0
    tool: str = ""
    reaction_on: int = 0
    command: int = 0
    move: Move | None = None


@dataclass(slots=True)
class ArmWatch:
    """Listens to the coordinator and keeps where the arms, pins, cover and length are."""

    plan: Plan
    geometry: Geometry | None = None
    parked: Sequence[str] = ()
    """Sides that are known to begin parked, such as simulated arms in a new run."""
    begins: str = ""
    """`open` or `made_up`, as the sequence says; empty where it is not known."""
    _arms: list[_Arm] = field(init=False)
    _cover: bool | None = field(init=False)
    _pins: dict[int, bool] = field(init=False)
    _in_hole: set[int] = field(init=False)
    _pipe: str = field(init=False)

    def __post_init__(self) -> None:
        """Begin with what the files say."""
        self._arms = [
            _Arm("park" if party.name in self.parked else "") for party in self.plan.parties
        ]
        self._cover = False if self.begins else None
        self._pins, self._in_hole = {}, set()
        self._pipe = {"made_up": "landed", "open": "away"}.get(self.begins, "")

    def __call__(self, event: Event, effects: tuple[Effect, ...]) -> None:
        """Take in one decision."""
        match event:
            case CommandFinished(party=party, command=command):
                if self._arms[party].command == command:
                    self._take_done(party, event.at_us)
            case CommandFaulted(party=party) | CommandInterrupted(party=party):
                arm = self._arms[party]
                if arm.move is not None and self._end_of(arm.move, arm) != arm.place:
                    arm.place, arm.at_us = "", event.at_us
        for effect in effects:
            if isinstance(effect, SendDo):
                arm = self._arms[effect.party]
                arm.command, arm.move = effect.command, effect.move

    def act_of(self, party: int, lane: Lane) -> dict[str, Any] | None:
        """Return what a party is at work on, None while it is at nothing."""
        arm = self._arms[party]
        if not lane.command or arm.command != lane.command or arm.move is None:
            return None
        return act_words(arm.move)

    def cell(self, lanes: Sequence[Lane]) -> dict[str, Any]:
        """Return the cell as far as it is known."""
        geometry = self.geometry
        return {
            "drawing": {} if geometry is None else dict(geometry.drawing()),
            "arms": [
                self._shown(index, lanes[index])
                for index, party in enumerate(self.plan.parties)
                if party.is_arm
            ],
            "cover": None if self._cover is None else {"is_in": self._cover},
            "pins": sorted(hole for hole, is_in in self._pins.items() if is_in),
            "bolts_in": sorted(self._in_hole) if self.begins != "made_up" else None,
            "pipe": self._pipe,
        }

    def _shown(self, party: int, lane: Lane) -> dict[str, Any]:
        arm, name = self._arms[party], self.plan.parties[party].name
        goes_to = ""
        if lane.command == arm.command and lane.phase in ("sent", "running", "recovering"):
            end = "" if arm.move is None else self._end_of(arm.move, arm)
            goes_to = end if end != arm.place else ""
        links = self.geometry.links(name, arm.place) if self.geometry and arm.place else None
        towards = self.geometry.links(name, goes_to) if self.geometry and goes_to else None
        return {
            "side": name,
            "place": arm.place,
            "goes_to": goes_to,
            "links": None if links is None else [list(one) for one in links],
            "towards": None if towards is None else list(towards[-1]),
            "tool": arm.tool,
            "reaction_on": arm.reaction_on,
            "at_s": round(arm.at_us / 1e6, 1),
        }

    def _end_of(self, move: Move, arm: _Arm) -> str:
        about = dict(move.parameters)
        if move.action == "locate_bolt":
            is_in = self.begins == "made_up" or about["bolt"] in self._in_hole
            return f"bolt.{about['bolt']}" if is_in else "bin"
        if move.action not in ENDS_AT:
            return ""
        return ENDS_AT[move.action].format(**about) or arm.place

    def _take_done(self, party: int, at_us: int) -> None:
        arm = self._arms[party]
        move = arm.move
        if move is None:
            return
        about = dict(move.parameters)
        if self.plan.parties[party].is_arm:
            arm.place, arm.at_us = self._end_of(move, arm), at_us
        match move.action:
            case "change_tool":
                arm.tool = str(about.get("tool", ""))
            case "react":
                arm.reaction_on = int(about.get("on", 0))
            case "lift_wrench" | "park":
                arm.reaction_on = 0
            case "fit_cover" | "take_cover":
                self._cover = move.action == "fit_cover"
            case "fit_pin" | "take_pin":
                self._pins[int(about.get("hole", 0))] = move.action == "fit_pin"
            case "place_bolt" | "run_up":
                self._in_hole.add(int(about.get("bolt", 0)))
            case "stow_bolt":
                self._in_hole.discard(int(about.get("bolt", 0)))
        self._pipe = ON_PIPE.get(move.action, self._pipe)


def act_words(move: Move) -> dict[str, Any]:
    """Return an action with what it is about, for people to read in their own language."""
    about = dict(move.parameters)
    kept: dict[str, Any] = {
        name: about[name] for name in ("bolt", "hole", "on", "tool") if name in about
    }
    return {"action": move.action, **kept}
