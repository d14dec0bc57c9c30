"""Step mode waits for a person in every driver: no script allows a step of its own accord.

Commissioning tells people to use step mode with real arms. A driver that allowed steps by itself
moved those arms while a person believed that every step was theirs.
"""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from coordinator.cli.app import app
from coordinator.core.decide import begin, decide
from coordinator.core.events import Act, OperatorActed, PartySeen, StepAllowed
from coordinator.core.plan import Mode, Plan
from coordinator.live.coordinator import Coordinator
from coordinator.live.explain import explain, waiting_for_step
from coordinator.live.operator import OperatedCoordinator, OperatorScript
from coordinator.live.standing import Standings
from coordinator.operate.run_link import Buses
from coordinator.operate.session import Session
from coordinator.operate.wishes import Wishes
from coordinator.rehearse.rehearsal import Rehearsal, rehearse
from coordinator.rehearse.simulated import Simulation
from coordinator.sequence import Loaded, People, StepWord, load, read_answers
from sim_arms.network import Network
from sim_arms.world import World
from tests.support.sequence_files import SEQUENCES
from tests.support.short_sequence import write_short_sequence

MODES = (Mode.STEP, Mode.TO_BARRIER, Mode.MANUAL)
S = 1_000_000


@pytest.fixture(scope="module")
def short(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a sequence of one paired pull."""
    return write_short_sequence(tmp_path_factory.mktemp("short"))


def _dos(lines: list[str]) -> list[str]:
    told = [json.loads(line) for line in lines if '"org.bothsides.do"' in line]
    return [one["subject"] for one in told]


def _rehearsed(path: Path, mode: Mode, *steps: StepWord) -> tuple[Rehearsal, list[str]]:
    lines: list[str] = []
    people = People(steps=steps)
    result = rehearse(load(path), mode=mode, people=people, write_line=lines.append)
    return result, _dos(lines)


@pytest.mark.parametrize("mode", MODES)
def test_a_rehearsal_without_a_word_moves_nothing_and_names_who_waits(
    short: Path, mode: Mode
) -> None:
    """A `start` outside automatic mode releases nothing."""
    result, dos = _rehearsed(short, mode)

    assert dos == []
    assert result.phase == "held"
    assert result.unstepped == ["fore", "aft"]
    assert not result.stands


def test_a_rehearsal_moves_only_as_often_as_its_file_allows(short: Path) -> None:
    """A script steps only where a case or an answer file says so."""
    result, dos = _rehearsed(short, Mode.STEP, StepWord("Ada", times=2), StepWord("Bo", times=1))

    words = [one.text for _, one in result.notices if one.kind == "step"]
    assert words == ["step for every lane, by Ada"] * 2 + ["step for every lane, by Bo"]
    assert sorted(dos) == ["aft", "aft", "aft", "fore", "fore", "fore"]
    assert result.unstepped == ["fore", "aft"]


@pytest.mark.parametrize("mode", MODES)
def test_a_file_that_allows_every_step_brings_a_rehearsal_to_its_end(
    short: Path, mode: Mode
) -> None:
    """The file's word is enough: barriers and the paired pull need no other."""
    result, _ = _rehearsed(short, mode, StepWord("Ada", after_us=2 * S))

    assert result.phase == "complete", result.reason
    assert result.unstepped == []


def test_after_a_start_a_person_allows_each_step_in_a_live_cell(short: Path) -> None:
    """The coordinator among the arms, with a person who starts, waits, and allows one step."""
    loaded = load(short)
    simulation = Simulation(loaded, 1)
    coordinator = Coordinator(loaded.plan)
    script = OperatorScript(loaded.plan, mode=Mode.STEP)
    operated = OperatedCoordinator(coordinator, script)
    world = World([simulation.party(one) for one in simulation.names], operated, Network(1))

    world.run(lambda: coordinator.state.phase == "running" and world.now_us > 20 * S, 60 * S)
    before = _state_of(coordinator, loaded.plan, world.now_us)
    step = StepAllowed(0, -1, "Ada")
    world.post(coordinator.hear(step, world.now_us), coordinator.name)
    world.run(lambda: bool(_working(coordinator)), world.now_us + S)

    assert before == ("a person's word for the next step (mode step)",) * 2
    assert _working(coordinator) == [0, 1]


def _state_of(coordinator: Coordinator, plan: Plan, now_us: int) -> tuple[str, ...]:
    return tuple(one.waiting for one in explain(plan, coordinator.state, now_us) if one.waiting)


def _working(coordinator: Coordinator) -> list[int]:
    return [index for index, lane in enumerate(coordinator.state.lanes) if lane.command]


def test_the_script_of_an_unattended_start_gives_no_word(short: Path) -> None:
    """A start and a mode are all that a script does by itself."""
    loaded = load(short)
    simulation = Simulation(loaded, 1)
    coordinator = Coordinator(loaded.plan)
    script = OperatorScript(loaded.plan, mode=Mode.MANUAL)
    world = World(
        [simulation.party(one) for one in simulation.names],
        OperatedCoordinator(coordinator, script),
        Network(1),
    )
    world.run(lambda: coordinator.state.phase == "running" and world.now_us > 9 * S, 20 * S)

    calls = script.react(coordinator.state, world.now_us)

    assert waiting_for_step(loaded.plan, coordinator.state) == (0, 1)
    assert calls == ()


def test_an_answer_file_with_steps_is_refused_with_a_real_party(
    short: Path, tmp_path: Path
) -> None:
    """Never with a real party."""
    loaded = load(short)
    wishes = _wishes(loaded, short, tmp_path)
    real = Standings.asked(loaded.cell, ("fore=real", "floor=real"), is_real=False)

    wishes.require_sound(None)
    with pytest.raises(ValueError, match="leave the answer file out"):
        replace(wishes, standings=real).require_sound("mqtt://127.0.0.1:1883")


@pytest.mark.parametrize("words", [(), ("fore=real", "floor=real")], ids=["simulated", "real"])
def test_a_run_with_a_real_party_is_not_started_by_its_script(
    short: Path, tmp_path: Path, words: tuple[str, ...]
) -> None:
    """Without a console it waits, and says so: real arms start by a person's own act."""
    loaded = load(short)
    stands = Standings.asked(loaded.cell, words, is_real=False)
    wishes = replace(_wishes(loaded, short, tmp_path), people=None, standings=stands)
    script = Session(wishes, Buses("", None))._script()
    there = begin(loaded.plan)
    for party in range(len(loaded.plan.parties)):
        there, _ = decide(loaded.plan, there, PartySeen(0, party, 1, 0))

    calls = [script.react(there, at_us) for at_us in (0, 10 * S, 60 * S)]

    started = [call.act for one in calls for call in one if isinstance(call, OperatorActed)]
    assert started == ([] if words else [Act.START] * len(started))
    assert bool(started) is not bool(words)


def _wishes(loaded: Loaded, path: Path, out: Path) -> Wishes:
    people = People(steps=(StepWord("Ada"),))
    return Wishes(loaded=loaded, sequence_path=path, out=out, say=print, people=people)


def test_the_dry_run_says_that_it_stood_waiting_and_what_to_write(tmp_path: Path) -> None:
    """A rehearsal that is held without a word about steps sends people looking for a fault."""
    park = str(SEQUENCES / "park.yaml")
    allowed = tmp_path / "steps.yaml"
    allowed.write_text("steps:\n  - {by: mate, after: 2 s}\n", encoding="utf-8")

    held = CliRunner().invoke(app, ["dryrun", park, "--mode", "step"])
    done = CliRunner().invoke(app, ["dryrun", park, "--mode", "step", "--answer", str(allowed)])

    assert held.exit_code == 3
    told = " ".join(held.output.split())
    assert "stood waiting for a step: fore, aft; nobody allowed it" in told
    assert "steps: [{by: mate}]" in told
    assert done.exit_code == 0
    assert read_answers(allowed).steps == (StepWord("mate", 2 * S),)
