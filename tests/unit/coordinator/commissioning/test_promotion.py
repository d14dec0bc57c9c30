"""What a party may stand as: opened by entries of the book, one degree after the other."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from coordinator.commissioning.book import Entry
from coordinator.commissioning.lines import LINES
from coordinator.commissioning.points import points_of
from coordinator.commissioning.promotion import Asked, missing_for, unchecked_points
from coordinator.commissioning.sheet import SEEN, sighting
from coordinator.core.plan import Caps, Mode
from coordinator.live.standing import Standings
from coordinator.sequence import Loaded, load
from tests.support.short_sequence import write_short_sequence

REAL = ("fore=real", "floor=real")
BARE, SLOW, FULL = Caps(0.0, 0.25), Caps(None, 0.25), Caps()
SOUND = {"heard_throughout": True, "called_simulated": False, "moved_untold": []}


@pytest.fixture
def loaded(tmp_path: Path) -> Loaded:
    """The short sequence on the shipped cell."""
    return load(write_short_sequence(tmp_path))


class Pages:
    """A book written in memory."""

    def __init__(self, loaded: Loaded) -> None:
        self.loaded = loaded
        self.entries: list[Entry] = []

    def add(self, kind: str, body: dict[str, Any]) -> "Pages":
        """Write one entry."""
        self.entries.append(Entry(len(self.entries), "t", kind, "Ada", body, "d" * 64))
        return self

    def points(self, *parties: str) -> "Pages":
        """See every point of these parties."""
        for point in points_of(self.loaded):
            for state in point.expected if point.party in parties else ():
                body = sighting(point, state, self.loaded.files, how="bus", simulated=False)
                self.add(SEEN, body)
        return self

    def run(self, caps: Caps = FULL, *, resumed: bool = False, **each: str) -> "Pages":
        """Complete a run, in one piece or after a break."""
        body = {
            "plan": self.loaded.plan.digest,
            "phase": "complete",
            "standings": {"fore": "simulated", "aft": "simulated", "floor": "simulated"} | each,
            "torque_nm_max": caps.torque_nm,
            "speed_share_max": caps.speed_share,
            "compared": {"parties": dict.fromkeys(each, SOUND)},
            "run": f"run_{len(self.entries)}",
            "resumed": resumed,
        }
        return self.add("run", body)

    def accept(self, result: str = "passed", *, simulated: bool | None = False) -> "Pages":
        """Take the arm through every line, the last of which may end otherwise."""
        results = ["passed"] * (len(LINES) - 1) + [result]
        seen = [
            {"code": line.code, "result": one} for line, one in zip(LINES, results, strict=True)
        ]
        failed = [one["code"] for one in seen if one["result"] == "failed"]
        body: dict[str, Any] = {"party": "fore", "seen": seen, "failed": failed}
        body |= {"passed": result == "passed", "simulated": simulated}
        return self.add("acceptance", body)


def lacking(
    pages: Pages, words: Sequence[str] = REAL, caps: Caps = FULL, mode: Mode = Mode.AUTOMATIC
) -> list[str]:
    """Return what is missing, without how to get it."""
    stands = Standings.asked(pages.loaded.cell, words)
    asked = Asked(pages.loaded, "f.yaml", stands, mode, caps)
    return [f"{one.party}: {one.what}" for one in missing_for(asked, pages.entries)]


def test_nothing_is_asked_of_what_is_simulated_and_a_simulated_run_opens_the_shadow(
    loaded: Loaded,
) -> None:
    """Nobody listens to steel for a sequence that does not even run."""
    pages = Pages(loaded)
    assert lacking(pages, ()) == []
    assert lacking(pages, ("fore=shadow",)) == ["fore: no simulated run of these files is complete"]
    assert lacking(pages.run(), ("fore=shadow",)) == []


def test_the_degrees_of_a_real_arm_open_one_another(loaded: Loaded) -> None:
    """Without torque, then slow, then as written; each asks for the one before."""
    pages = Pages(loaded).run(fore="shadow").accept().points("floor")
    step = Mode.STEP
    no_bare = "fore: no run of the real arm without torque is complete"
    no_slow = "fore: no slow run of the real arm is complete"

    assert lacking(pages, caps=BARE, mode=step) == []
    assert lacking(pages, caps=Caps(0.0, 0.5), mode=step) == [
        "fore: a run without torque must be slow"
    ]
    assert lacking(pages, caps=SLOW, mode=step) == [no_bare]
    assert lacking(pages, caps=FULL, mode=step) == [no_bare, no_slow]
    pages.run(BARE, fore="real", floor="real")
    assert lacking(pages, caps=SLOW, mode=step) == []
    assert lacking(pages, caps=FULL, mode=step) == [no_slow]
    pages.run(SLOW, fore="real", floor="real")
    assert lacking(pages, caps=FULL, mode=step) == []


def test_a_resumed_run_is_whole_for_what_is_simulated_and_opens_nothing_for_what_is_real(
    loaded: Loaded,
) -> None:
    """CM19: a person who meets the refusal is told which run it was, and why it does not count."""
    pages = Pages(loaded).run(resumed=True)
    assert lacking(pages, ("fore=shadow",)) == []

    pages.run(fore="shadow", resumed=True).accept().points("floor")
    (told,) = lacking(pages, caps=BARE, mode=Mode.STEP)
    assert told.startswith("fore: no run in shadow of these files was complete and sound")
    assert "run_1 was resumed after a break" in told
    pages.run(fore="shadow")
    assert lacking(pages, caps=BARE, mode=Mode.STEP) == []

    pages.run(BARE, fore="real", floor="real", resumed=True)
    (told,) = lacking(pages, caps=SLOW, mode=Mode.STEP)
    assert "without torque is complete (run" in told
    assert "was resumed" in told
    pages.run(BARE, fore="real", floor="real")
    assert lacking(pages, caps=SLOW, mode=Mode.STEP) == []


def test_unchecked_points_block_automatic_mode_by_name_and_no_other(loaded: Loaded) -> None:
    """The person is told which wires to look at; stepping by hand is how some are seen."""
    pages = Pages(loaded).run(fore="shadow").accept().points("floor")
    pages.run(BARE, fore="real", floor="real").run(SLOW, fore="real", floor="real")

    told = lacking(pages)

    mine = [one for one in points_of(loaded) if one.party == "fore"]
    expected = [f"fore: {one.tag} not seen {', '.join(one.expected)}" for one in mine]
    assert told == expected
    stands = Standings.asked(loaded.cell, REAL)
    asked = Asked(loaded, "f.yaml", stands, Mode.STEP, FULL)
    assert len(unchecked_points(asked, pages.entries)) == len(mine)
    assert lacking(pages, mode=Mode.STEP) == []
    assert lacking(pages.points("fore")) == []


def test_a_real_arm_needs_a_real_floor_whose_points_are_checked_in_every_mode(
    loaded: Loaded,
) -> None:
    """Whoever steps in must be seen, however slowly the arm moves."""
    pages = Pages(loaded).run(fore="shadow").accept()

    assert lacking(pages, ("fore=real",), BARE, Mode.STEP)[0] == "fore: the floor is not real"
    told = lacking(pages, REAL, BARE, Mode.STEP)
    floor = [one for one in points_of(loaded) if one.party == "floor"]
    assert told == [f"floor: {one.tag} not seen {', '.join(one.expected)}" for one in floor]


@pytest.mark.parametrize(
    ("result", "simulated", "why"),
    [
        ("failed", False, "failed at ARM"),
        ("not done", False, "left out ARM"),
        ("passed", True, "calls itself simulated"),
        ("passed", None, "calls itself simulated"),
    ],
)
def test_an_acceptance_counts_only_whole_passed_and_of_a_real_arm(
    loaded: Loaded, result: str, simulated: bool | None, why: str
) -> None:
    """The simulated arm passes too, and proves nothing about the real one."""
    pages = Pages(loaded).run(fore="shadow").points("floor").accept(result, simulated=simulated)

    (told,) = lacking(pages, caps=BARE, mode=Mode.STEP)

    assert why in told


def test_a_later_failure_takes_back_what_an_earlier_pass_has_opened(loaded: Loaded) -> None:
    """CM17: A driver that was changed since is another driver."""
    pages = Pages(loaded).run(fore="shadow").points("floor").accept()
    assert lacking(pages, caps=BARE, mode=Mode.STEP) == []

    (told,) = lacking(pages.accept("failed"), caps=BARE, mode=Mode.STEP)

    assert "the last acceptance (entry" in told
    assert lacking(pages.accept(), caps=BARE, mode=Mode.STEP) == []


@pytest.mark.parametrize(
    "change",
    [
        {"heard_throughout": False},
        {"called_simulated": True},
        {"moved_untold": ["1.0 s: fore is at work"]},
    ],
)
def test_a_shadow_that_was_not_heard_or_not_still_opens_nothing(
    loaded: Loaded, change: Mapping[str, Any]
) -> None:
    """Silence is no agreement, and an arm at somebody else's word is not ours yet."""
    pages = Pages(loaded).points("floor").accept().run(fore="shadow")
    body = dict(pages.entries[-1].body)
    body["compared"] = {"parties": {"fore": {**SOUND, **change}}}
    pages.entries[-1] = replace(pages.entries[-1], body=body)

    assert lacking(pages, caps=BARE, mode=Mode.STEP) == [
        "fore: no run in shadow of these files was complete and sound"
    ]


def test_runs_of_other_files_open_nothing(loaded: Loaded) -> None:
    """CM18: the same hash for all of them, or the evidence is about something else."""
    pages = Pages(loaded).points("floor").accept().run(fore="shadow").run(BARE, fore="real")
    assert lacking(pages, caps=SLOW, mode=Mode.STEP) == []

    pages.loaded = replace(loaded, plan=replace(loaded.plan, digest="0" * 64))

    assert len(lacking(pages, caps=SLOW, mode=Mode.STEP)) == 2
