"""Where the page shows each arm, judged by where the simulated arms say in their facts they are."""

import json
from functools import cache

import pytest

from coordinator.core.decide import begin
from coordinator.core.effects import Effect
from coordinator.core.events import CommandFinished, Event
from coordinator.core.state import State
from coordinator.operate.cell_drawing import CellDrawing
from coordinator.page.arms import ArmWatch
from coordinator.rehearse.rehearsal import rehearse
from coordinator.rehearse.simulated import BOLT_CATALOGUE, PLACED
from coordinator.sequence import load, read_case
from sim_arms.activities import ACTIONS
from tests.support.sequence_files import SEQUENCES

RUNS = (
    ("makeup_8.yaml", ""),
    ("makeup_8.yaml", "person_steps_in.yaml"),
    ("makeup_8.yaml", "thread_stalls_for_good.yaml"),
    ("makeup_8.yaml", "burr_on_bolt_3.yaml"),
    ("breakout_8.yaml", ""),
    ("makeup_20.yaml", ""),
)


class Compared:
    """The watch of the page beside the facts that the simulated arms publish."""

    def __init__(self, sequence: str, case: str) -> None:
        loaded = load(SEQUENCES / sequence)
        self.plan = loaded.plan
        self.watch = ArmWatch(
            loaded.plan,
            CellDrawing(loaded),
            tuple(loaded.cell.sides),
            loaded.begins.removeprefix("joint_"),
        )
        self.at = dict.fromkeys(loaded.cell.sides, "park")
        self.facts: dict[str, object] = {}
        self.actions: set[str] = set()
        self.known = self.compared = 0
        self.wrong: list[str] = []
        self.state = begin(loaded.plan)
        rehearse(
            loaded,
            case=read_case(SEQUENCES / "cases" / case, BOLT_CATALOGUE, placed=PLACED)
            if case
            else None,
            write_line=self.hear,
            listeners=(self,),
        )

    def hear(self, line: str) -> None:
        """Keep what the simulated parties say of themselves: the page never hears it."""
        if '"org.bothsides.simulatedfacts"' not in line:
            return
        for key, value in json.loads(line)["data"]["facts"].items():
            self.facts[key] = value
            if key.startswith("arm.") and key.endswith(".at"):
                self.at[key.split(".")[1]] = value

    def __call__(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        """Compare after every end of a command."""
        self.watch(event, effects)
        self.state = state
        if not isinstance(event, CommandFinished):
            return
        cell = self.watch.cell(state.lanes)
        for arm in cell["arms"]:
            if arm["side"] != self.plan.parties[event.party].name:
                continue
            self.compared += 1
            if arm["place"]:
                self.known += 1
                if arm["place"] != self.at[arm["side"]]:
                    self.wrong.append(f"{arm['side']} {arm['place']}, is {self.at[arm['side']]}")


@cache
def compared(sequence: str, case: str) -> Compared:
    """Return one run, compared."""
    return Compared(sequence, case)


@pytest.mark.timeout(240)
@pytest.mark.parametrize(("sequence", "case"), RUNS)
def test_an_arm_is_shown_only_where_it_says_itself_that_it_is(sequence: str, case: str) -> None:
    """PG12: after every action of whole runs, with recoveries and a person on the floor."""
    run = compared(sequence, case)

    assert run.wrong == []
    assert run.known > 0.9 * run.compared > 50, "a page that never knew would pass"


@pytest.mark.timeout(240)
def test_cover_pins_and_bolts_are_shown_as_the_steel_has_them() -> None:
    """What the page draws in the bore and in the holes, against the facts at the end of a run."""
    run = compared("makeup_8.yaml", "")

    cell = run.watch.cell(run.state.lanes)

    in_holes = [bolt for bolt in range(1, 9) if run.facts.get(f"bolt.{bolt}.where") == "hole"]
    pins = [hole for hole in range(1, 9) if run.facts.get(f"pin.{hole}") is True]
    assert cell["bolts_in"] == in_holes == list(range(1, 9))
    assert cell["pins"] == pins == []
    assert cell["pipe"] == {"held_by_hoist": "taken"}[str(run.facts["string"])]


def test_every_action_of_the_simulated_arms_has_a_place_where_it_ends() -> None:
    """An action that is added later must not leave its arm undrawn for ever."""
    from coordinator.page.arms import ENDS_AT

    assert set(ACTIONS) - set(ENDS_AT) == {"locate_bolt"}
