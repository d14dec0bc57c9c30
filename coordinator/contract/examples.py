"""One worked example of each message, on the invented barge; replayed by the tests."""

from typing import Any

from coordinator.wire.messages import (
    Accepted,
    Armed,
    Ask,
    AskState,
    Body,
    Disarm,
    Do,
    Faulted,
    Finished,
    FloorSignals,
    Held,
    Hold,
    Interrupted,
    Lease,
    MakeReady,
    Message,
    PartyState,
    Progressed,
    Ready,
    Refused,
    Release,
    SimulatedFacts,
    Started,
    Trace,
)

AT_US = 1_900_000_000_000_000
"""2030-03-17, so that nobody takes an example for a message of today."""
EXPIRES_US = AT_US + 2_000_000
_TRACE = Trace((0.0, 0.5), (0.0, 620.0), (0.0, 9.1e6), (0.0, 0.12))
_COMMANDS: tuple[Body, ...] = (
    Do(21, "pull bolt 5 round 1", "pull", {"bolt": 5, "torque": 934.0}, "pull/1", "relieve"),
    Release(21, AT_US + 200_000),
    Disarm(21, "barrier pull: fore refused"),
    Hold("person_on_floor: somebody is inside the line", 22),
    MakeReady(23),
    Ask(21),
    AskState(),
)
_REPORTS: tuple[Body, ...] = (
    Accepted(21),
    Refused(21, "no_lease", "the last lease ended 0.4 s ago"),
    Armed(21),
    Started(21, AT_US + 200_000),
    Progressed(21, 620.0, 9.1e6, 0.12),
    Finished(21, {"torque_nm": 936.0, "strokes": 3}, _TRACE),
    Faulted(21, "torque_not_reached", {"pressure_pa": 2.0e6}, _TRACE),
    Interrupted(21, {"torque_nm": 620.0}),
    Held("asked to hold", 22),
    Ready(23),
    PartyState(True, 7, "running", True, 21, 20, "finished", "wrench", 2),
)
_FLOOR: tuple[Body, ...] = (
    FloorSignals({"floor_clear": True, "string_still": True, "nothing_overhead": None}),
    SimulatedFacts({"bolt.5.preload_n": 81_000.0}),
)


def _examples() -> dict[type[Any], Message]:
    found = {}
    for body in _COMMANDS:
        found[type(body)] = Message("coordinator", "aft", 412, 31, AT_US, body, EXPIRES_US, 57)
    for body in _REPORTS:
        found[type(body)] = Message("aft", "aft", 1_088, 31, AT_US, body, ordinal=1_080)
    for body in _FLOOR:
        ordinal = 96 if isinstance(body, FloorSignals) else None
        found[type(body)] = Message("floor", "floor", 96, 31, AT_US, body, ordinal=ordinal)
    lease = Lease(AT_US + 1_000_000, 4_000.0, 0.5)
    found[Lease] = Message("coordinator", "all", 413, 31, AT_US, lease, AT_US + 1_000_000, 301)
    return found


_EXAMPLES = _examples()


def example_of(body: type[Any]) -> Message:
    """Return a worked example of a body."""
    return _EXAMPLES[body]
