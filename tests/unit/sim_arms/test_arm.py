"""An arm with its real bench: tools, caps, steel shared with the other arm, restarts."""

from coordinator.wire.messages import (
    Accepted,
    Body,
    Do,
    Finished,
    Interrupted,
    Lease,
    MakeReady,
    Message,
    PartyState,
    Refused,
    SimulatedFacts,
)
from sim_arms.activities import Bench
from sim_arms.arm import Arm, SteelWorkbench
from sim_arms.causes import Causes
from sim_arms.steel import Steel
from sim_arms.workbench import Settings
from tests.support.parties import SECOND_US
from tests.support.steel import small_joint


def woken(name: str = "fore") -> Arm:
    """An arm that takes commands."""
    arm = Arm.on(Settings(name, torque_nm_max=8_000.0), Steel(small_joint(), 1), Causes(), seed=1)
    say(arm, Lease(30 * SECOND_US))
    say(arm, MakeReady())
    return arm


def say(arm: Arm, body: Body, now_us: int = 0) -> list[Message]:
    """Deliver one body."""
    return arm.receive(Message("coordinator", arm.name, 1, 1, now_us, body, now_us + 1), now_us)


def bodies(messages: list[Message]) -> list[Body]:
    """Leave the envelopes out."""
    return [message.body for message in messages]


def run_on(arm: Arm, until_us: int) -> list[Message]:
    """Let time pass."""
    messages: list[Message] = []
    while (due_us := arm.next_us()) is not None and due_us <= until_us:
        messages += arm.advance(due_us)
    return messages


def found_by(arm: Arm) -> list[int]:
    """The bolts whose hex the camera has measured, as far as the arm remembers."""
    assert isinstance(arm.bench, SteelWorkbench)
    assert isinstance(arm.bench.bench, Bench)
    return list(arm.bench.bench.estimates.hexes)


def test_a_tool_change_takes_its_time_and_shows_in_the_heartbeat() -> None:
    """The arm's own word about its tool, and its place as a fact for the other arm."""
    arm = woken()
    say(arm, Do(1, "s", "change_tool", {"tool": "wrench"}))

    heard = run_on(arm, 29 * SECOND_US)

    finished = next(m for m in heard if isinstance(m.body, Finished))
    assert finished.sent_us > 6 * SECOND_US
    states = [m.body for m in heard if isinstance(m.body, PartyState)]
    assert states[-1].tool == "wrench"
    assert SimulatedFacts({"arm.fore.at": "rack"}) in bodies(heard)


def test_a_wrong_tool_an_unknown_action_and_a_torque_beyond_the_cap_are_unfit() -> None:
    """The arm judges by what is mounted, not by what the coordinator believes."""
    arm = woken()
    wrong = [
        Do(1, "s", "pull", {"bolt": 1, "torque": 900.0}),
        Do(2, "s", "dance"),
        Do(3, "s", "pull", {"bolt": 1, "torque": 8_000.1}),
        Do(4, "s", "change_tool", {"tool": "hammer"}),
    ]

    answers = [say(arm, do)[0].body for do in wrong]

    assert [a.reason for a in answers if isinstance(a, Refused)] == ["unfit"] * 4
    assert arm.state == "idle"


def test_the_other_arm_knows_the_place_from_the_facts_alone() -> None:
    """Each party keeps its own replica of the steel."""
    fore, aft_steel = woken(), Steel(small_joint(), 1)
    aft = Arm.on(Settings("aft"), aft_steel, Causes(), seed=1)
    say(fore, Do(1, "s", "change_tool", {"tool": "spinner"}))

    for message in run_on(fore, 29 * SECOND_US):
        if isinstance(message.body, SimulatedFacts):
            aft.receive(message, message.sent_us)

    assert aft_steel.word("arm.fore.at") == "rack"


def test_after_a_restart_the_tool_is_still_there_and_what_the_camera_found_is_not() -> None:
    """Steel outlives a process, memory does not; the command that ran is interrupted."""
    arm = woken()
    say(arm, Do(1, "s", "change_tool", {"tool": "spinner"}))
    run_on(arm, 20 * SECOND_US)
    say(arm, Do(2, "s", "locate_bolt", {"bolt": 1}), 20 * SECOND_US)
    say(arm, Lease(50 * SECOND_US), 20 * SECOND_US)
    run_on(arm, 40 * SECOND_US)
    accepted = say(arm, Do(3, "s", "turn_socket", {"bolt": 1}), 40 * SECOND_US)[0].body
    assert accepted == Accepted(3)

    found = found_by(arm)

    born = arm.reborn(41 * SECOND_US)

    (state,) = [m.body for m in born.connected(41 * SECOND_US) if isinstance(m.body, PartyState)]
    assert state == PartyState(
        True, 2, "held", last_command=3, last_outcome="interrupted", tool="spinner"
    )
    assert born.ledger.report_of(3) == Interrupted(3, {"process_died": True})
    assert (found, found_by(born)) == ([1], [])
