"""Topic names, and which body travels on which.

Invariants: WR10, a party speaks for itself alone: source, subject and topic agree, or the message
is dropped before anything reads it.
"""

from coordinator.wire.messages import (
    Ask,
    AskState,
    Body,
    Disarm,
    Do,
    FloorSignals,
    Hold,
    Lease,
    MakeReady,
    Message,
    PartyState,
    Progressed,
    Release,
    SimulatedFacts,
)

ROOT = "bothsides"
COORDINATOR = "coordinator"
FLOOR = "floor"
EVERYBODY = "all"
"""Names on the bus that are no side of a cell: who commands, who tells the signals, every party."""
COMMANDS = (Do, Release, Disarm, Hold, MakeReady, Ask, AskState)
_CHANNELS: dict[type[Body], str] = {
    **dict.fromkeys(COMMANDS, "command"),
    Lease: "lease",
    PartyState: "state",
    FloorSignals: "signals",
    SimulatedFacts: "simulated",
    Progressed: "telemetry",
}


def channel_of(body: Body) -> str:
    """Return the last level of the topic that a body travels on."""
    return _CHANNELS.get(type(body), "report")


def topic_of(cell: str, message: Message) -> str:
    """Return the topic of a message: ``bothsides/<cell>/<party>/<channel>``."""
    return f"{ROOT}/{cell}/{message.subject}/{channel_of(message.body)}"


def speaker_of(message: Message) -> str:
    """Return who alone may say a message: who commands, or whom it is about."""
    is_order = isinstance(message.body, (*COMMANDS, Lease))
    return COORDINATOR if is_order else message.subject


def impersonation(message: Message) -> str | None:
    """Return why a message is not by whom its topic is about, None if it is (WR10).

    A broker's rules say who may write on a topic; what stands in the message must agree, or one
    account would speak for another.
    """
    if message.source == message.subject or isinstance(message.body, (*COMMANDS, Lease)):
        return None
    return f"'{message.source}' speaks in the name of '{message.subject}'"


def is_retained(body: Body) -> bool:
    """States and signals are retained for a newcomer to show; nothing decides on them (WR9)."""
    return isinstance(body, PartyState | FloorSignals)


def quality_of(body: Body) -> int:
    """Quality of service: 0 for what is repeated anyway, 1 for the rest."""
    return 0 if isinstance(body, Lease | Progressed | SimulatedFacts | FloorSignals) else 1


def subscriptions_of_party(cell: str, party: str) -> tuple[str, ...]:
    """What a real party listens to: its commands, the lease, the floor's signals."""
    return (
        f"{ROOT}/{cell}/{party}/command",
        f"{ROOT}/{cell}/all/lease",
        f"{ROOT}/{cell}/floor/signals",
    )


def subscriptions_of_coordinator(cell: str) -> tuple[str, ...]:
    """What the coordinator listens to."""
    return tuple(
        f"{ROOT}/{cell}/+/{channel}" for channel in ("report", "telemetry", "state", "signals")
    )
