"""The coordinator as a party: order of effects, epochs, traces, deadlines."""

from dataclasses import replace

import pytest

from coordinator.core.effects import Effect
from coordinator.core.events import Act, Event, PartySeen, TimePassed
from coordinator.core.state import State
from coordinator.live.coordinator import (
    Coordinator,
    Observers,
    OutdatedCoordinator,
    Proof,
)
from coordinator.live.operator import OperatedCoordinator, OperatorScript
from coordinator.live.standing import Standing, Standings
from coordinator.wire.messages import Accepted, Do, Hold, Message, PartyState, Release
from tests.support.obedient import TRACE, ObedientParty, play
from tests.support.small_plan import small_plan


class Diary:
    """Notes in which order everybody is told."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.proofs: list[Proof] = []

    def append(self, event: Event) -> None:
        self.lines.append(f"append {type(event).__name__}")

    def commit(self, state: State) -> None:
        self.lines.append("commit")

    def record(self, proof: Proof) -> None:
        self.lines.append("record")
        self.proofs.append(proof)

    def listen(self, event: Event, effects: tuple[Effect, ...], state: State) -> None:
        self.lines.append(f"listen {type(event).__name__}")

    def observers(self) -> Observers:
        return Observers(self, self.record, (self.listen,))


def heartbeat(name: str = "fore", *, epoch: int = 0, at_us: int = 0) -> Message:
    return Message(name, name, 1, epoch, at_us, PartyState(True, boot=7))


def test_a_small_procedure_runs_to_its_end_with_two_obedient_arms() -> None:
    """Translation, epochs and deadlines together must carry a whole run."""
    plan = small_plan()
    coordinator = Coordinator(plan, epoch=4)
    operated = OperatedCoordinator(coordinator, OperatorScript(plan))
    fore, aft = ObedientParty("fore"), ObedientParty("aft")

    told = play([operated, fore, aft], until_us=20_000_000)

    steps = [one.body.step for one in told if isinstance(one.body, Do)]
    starts = [one.body.start_us for one in told if isinstance(one.body, Release)]
    assert coordinator.state.phase == "complete"
    assert steps == ["park", "pull_1", "pull_5"]
    assert len(starts) == 2
    assert starts[0] == starts[1]
    assert {one.epoch for one in told if one.source == "coordinator"} == {4}


def test_an_event_is_durable_before_anybody_hears_of_its_effects() -> None:
    """J1: journal, then records, then listeners, and one commit for a whole batch."""
    diary = Diary()
    coordinator = Coordinator(small_plan(), observers=diary.observers())
    coordinator.receive_all([(heartbeat("fore"), False), (heartbeat("aft"), False)], 10)
    diary.lines.clear()

    messages = coordinator.act(Act.START, "person", 20)

    assert messages
    assert diary.lines == ["append OperatorActed", "commit", "listen OperatorActed"]


def test_events_without_effects_wait_for_the_next_commit() -> None:
    """A sync for every heartbeat would wear the disk and prove nothing."""
    diary = Diary()
    coordinator = Coordinator(small_plan(), observers=diary.observers())

    assert coordinator.receive(heartbeat(), 10) == []

    assert diary.lines == ["append PartySeen", "listen PartySeen"]


def test_a_proof_carries_the_trace_and_the_tool_of_its_command() -> None:
    """A record without its samples could not be judged."""
    plan, diary = small_plan(), Diary()
    coordinator = Coordinator(plan, observers=diary.observers())
    operated = OperatedCoordinator(coordinator, OperatorScript(plan))

    play([operated, ObedientParty("fore"), ObedientParty("aft")], until_us=20_000_000)

    found = [(plan.nodes[one.effect.node].name, one.trace, one.tool) for one in diary.proofs]
    assert sorted(name for name, _, _ in found) == ["pull_1", "pull_5"]
    assert all(trace == TRACE and tool == "wrench 3" for _, trace, tool in found)
    assert all(one.effect.results == (("torque_nm", 998.0),) for one in diary.proofs)


def test_a_message_of_a_later_epoch_is_refused_loudly() -> None:
    """A7: two coordinators on one cell would command against each other."""
    coordinator = Coordinator(small_plan(), epoch=4)

    later = replace(heartbeat(epoch=5), source="coordinator", subject="coordinator")
    for retained in (False, True):
        with pytest.raises(OutdatedCoordinator, match="LNK008"):
            coordinator.receive(later, 10, retained=retained)


def test_a_party_that_obeys_a_later_epoch_ends_nobody_and_counts_as_lost() -> None:
    """No word of a party may end a coordinator: it does not obey us, so everybody holds."""
    coordinator = Coordinator(small_plan(), epoch=4)
    for name in ("fore", "aft"):
        coordinator.receive(replace(heartbeat(epoch=4), source=name, subject=name), 10)
    coordinator.act(Act.START, "Ada", 20)

    coordinator.receive(heartbeat(epoch=5), 30)

    assert coordinator.state.phase == "holding"
    assert not coordinator.state.lanes[0].party.online
    assert coordinator.dropped == {"'fore' obeys a later epoch than ours; it counts as lost": 1}


@pytest.mark.parametrize("is_real", [False, True])
def test_a_party_of_another_kind_than_stands_here_is_sent_nothing(*, is_real: bool) -> None:
    """LV13: an arm that called itself real was commanded through a whole run as a simulated one."""
    stand = Standing.REAL if is_real else Standing.SIMULATED
    stands = Standings((("fore", stand), ("aft", stand), ("floor", stand)))
    diary = Diary()
    coordinator = Coordinator(small_plan(), observers=diary.observers(), stands=stands)

    def beat(name: str, *, simulated: bool, at_us: int) -> list[Message]:
        state = PartyState(True, 1, "held", simulated=simulated)
        return coordinator.receive(Message(name, name, 1, 1, at_us, state), at_us)

    beat("fore", simulated=not is_real, at_us=10)
    sent = [*beat("aft", simulated=is_real, at_us=20), *coordinator.act(Act.START, "Ada", 30)]
    sent += beat("aft", simulated=is_real, at_us=40)

    assert [one for one in sent if one.subject == "aft"] == []
    assert coordinator.state.phase == "idle"
    assert [lane.party.online for lane in coordinator.state.lanes] == [True, False]
    beat("aft", simulated=not is_real, at_us=50)
    coordinator.act(Act.START, "Ada", 60)
    assert coordinator.state.phase == "running"


def test_what_a_party_says_in_the_name_of_another_is_not_even_looked_at() -> None:
    """WR10: with aft's password alone tool and traces of all of fore's records were forged."""
    coordinator = Coordinator(small_plan(), epoch=4)
    forged = PartyState(online=True, tool="another wrench")

    coordinator.receive(replace(heartbeat(epoch=4), subject="aft", body=forged), 10)
    coordinator.receive(replace(heartbeat(epoch=4), source="nobody", subject="nobody"), 10)

    assert coordinator.seen == {}
    assert coordinator.dropped["'fore' speaks in the name of 'aft'"] == 1


def test_a_report_of_an_earlier_epoch_is_dropped_but_a_heartbeat_is_not() -> None:
    """Command numbers of an earlier coordinator may be ours again."""
    diary = Diary()
    coordinator = Coordinator(small_plan(), epoch=4, observers=diary.observers())

    coordinator.receive(replace(heartbeat(epoch=3), body=Accepted(1)), 10)
    coordinator.receive(heartbeat(epoch=3), 20)

    assert diary.lines == ["append PartySeen", "listen PartySeen"]
    assert coordinator.dropped == {"'fore' reports in an earlier epoch": 1}


def test_a_retained_state_is_shown_and_decides_nothing() -> None:
    """WR9: the broker's memory may be days old."""
    coordinator = Coordinator(small_plan())

    coordinator.receive(heartbeat(), 10, retained=True)

    assert coordinator.seen == {"fore": PartyState(True, boot=7)}
    assert [lane.party.online for lane in coordinator.state.lanes] == [False, False]


def test_time_passes_only_when_the_core_waits_for_it() -> None:
    """D2: A coordinator that ticks by itself would journal noise for ever."""
    events: list[Event] = []
    observers = Observers(listeners=(lambda event, effects, state: events.append(event),))
    coordinator = Coordinator(small_plan(), origin_us=1_000, observers=observers)
    coordinator.receive(heartbeat(), 1_010)
    due_us = coordinator.next_us()
    assert due_us is not None

    early = coordinator.advance(due_us - 1)
    coordinator.advance(due_us)

    assert early == []
    assert events == [PartySeen(10, 0, 7, 0), TimePassed(due_us - 1_000)]


def test_a_clock_that_is_set_back_never_turns_the_core_back() -> None:
    """The core promises nothing for time that runs backwards."""
    events: list[Event] = []
    observers = Observers(listeners=(lambda event, effects, state: events.append(event),))
    coordinator = Coordinator(small_plan(), observers=observers)

    coordinator.receive(heartbeat("fore"), 500)
    coordinator.receive(heartbeat("aft"), 400)

    assert [event.at_us for event in events] == [500, 500]


def test_a_broken_link_loses_every_party_and_every_signal() -> None:
    """What cannot be heard is not known, and unknown counts as active."""
    plan = small_plan(with_signal=True)
    coordinator = Coordinator(plan)
    coordinator.receive_all([(heartbeat("fore"), False), (heartbeat("aft"), False)], 10)

    coordinator.lose_link(20)

    assert [lane.party.online for lane in coordinator.state.lanes] == [False, False]
    assert [signal.value for signal in coordinator.state.signals] == [None]


def test_hold_messages_need_no_decision_and_reach_everybody() -> None:
    """When we ourselves fail, arms must not be left at work."""
    coordinator = Coordinator(small_plan(), epoch=4)

    messages = coordinator.hold_messages("journal failed", 100)

    assert [(one.subject, one.body, one.epoch) for one in messages] == [
        ("fore", Hold("journal failed"), 4),
        ("aft", Hold("journal failed"), 4),
    ]
    assert all(one.expires_us is not None and one.expires_us > 100 for one in messages)
