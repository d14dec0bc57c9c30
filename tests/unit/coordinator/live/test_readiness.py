"""Who is ready for a restart, by what the parties say on the bus."""

from coordinator.core.decide import begin
from coordinator.core.events import Act, OperatorActed
from coordinator.core.state import Lane, Party, Phase, SignalValue
from coordinator.live.operator import ABSENT_US_MAX, PATIENCE_US, OperatorScript
from coordinator.live.readiness import HEARD_MIN, Readiness, TellMissing
from coordinator.sequence.cases import case
from coordinator.wire.messages import ArmStateName, Body, FloorSignals, Message, PartyState
from tests.support.small_plan import small_plan

PLAN = small_plan()
HELD = begin(PLAN)._replace(
    phase=Phase.HELD,
    lanes=tuple(Lane(party=Party(online=True)) for _ in PLAN.parties),
    signals=tuple(SignalValue(True, 0) for _ in PLAN.signals),
)


def say(readiness: Readiness, source: str, body: Body) -> None:
    """Let a party say something."""
    readiness.hear(Message(source, source, 1, 1, 0, body))


def come(readiness: Readiness, *names: str, boot: int = 1, state: ArmStateName = "held") -> None:
    """Let parties say that they are there."""
    for name in names:
        say(readiness, name, PartyState(True, boot, state))


def hear_floor(readiness: Readiness, times: int = HEARD_MIN) -> None:
    """Let the floor repeat its signals."""
    for _ in range(times):
        say(readiness, "floor", FloorSignals({}))


def test_a_party_that_came_after_the_floor_spoke_has_not_heard_it() -> None:
    """The race: the coordinator knew every signal, and the last arm none."""
    readiness = Readiness(PLAN)
    come(readiness, "fore")
    hear_floor(readiness)
    come(readiness, "aft")

    assert readiness.missing() == ("aft has not heard the floor",)
    hear_floor(readiness)
    assert readiness.missing() == ()


def test_who_is_not_there_or_not_at_rest_is_named() -> None:
    """Every one that is missing, not the first."""
    readiness = Readiness(PLAN)
    come(readiness, "fore", state="running")

    assert readiness.missing() == ("fore is still running", "aft is not on the bus")


def test_a_party_that_started_anew_or_left_has_to_hear_the_floor_again() -> None:
    """What its process had heard died with it."""
    readiness = Readiness(PLAN)
    come(readiness, "fore", "aft")
    hear_floor(readiness)

    come(readiness, "fore", boot=2)
    say(readiness, "aft", PartyState(False))
    come(readiness, "aft")

    assert readiness.missing() == (
        "fore has not heard the floor",
        "aft has not heard the floor",
    )


def test_a_party_that_speaks_for_another_changes_nothing() -> None:
    """A party speaks for itself alone."""
    readiness = Readiness(PLAN)
    readiness.hear(Message("fore", "aft", 1, 1, 0, PartyState(True, 1)))

    assert readiness.missing() == ("fore is not on the bus", "aft is not on the bus")


def test_a_restart_waits_for_who_is_missing_says_so_once_and_then_goes() -> None:
    """It used to leave before the last arm had heard the floor, and ended held."""
    told: list[str] = []
    readiness = Readiness(PLAN)
    restart = case.Act(Act.RESTART, "hand", when="held")
    missing = TellMissing(readiness, told.append)
    script = OperatorScript(PLAN, acts=(restart,), missing=missing)
    come(readiness, "fore", "aft")

    assert script.react(HELD, 0) == ()
    assert script.react(HELD, PATIENCE_US) == ()
    assert told == ["the restart waits: fore has not heard the floor; aft has not heard the floor"]
    assert script.next_us() == 2 * PATIENCE_US

    hear_floor(readiness)
    assert script.react(HELD, 2 * PATIENCE_US) == (OperatorActed(0, Act.RESTART, "hand"),)
    assert len(told) == 1


def test_a_restart_does_not_wait_for_ever() -> None:
    """Past the bound the core refuses it by name, or the arm holds and says why."""
    script = OperatorScript(
        PLAN,
        acts=(case.Act(Act.RESTART, "hand", when="held"),),
        missing=lambda: ("aft is not on the bus",),
    )

    assert script.react(HELD, 0) == ()
    assert script.react(HELD, ABSENT_US_MAX) == (OperatorActed(0, Act.RESTART, "hand"),)
