"""Translate between the wire and the core: pure functions, no state of their own.

Units: ``now_us``, ``origin_us`` and every time on the wire are microseconds of the cell's clock;
times of the core are microseconds since ``origin_us``, the moment the run began.
Invariants: LV3, a message that names nobody of the plan becomes no event, and the reason is told.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import assert_never, get_args

from coordinator.core.effects import (
    AnswerCall,
    Effect,
    Notify,
    RaisePrompt,
    SendAsk,
    SendDisarm,
    SendDo,
    SendHold,
    SendLease,
    SendMakeReady,
    SendRelease,
    WithdrawPrompt,
    WriteRecord,
)
from coordinator.core.events import (
    CommandAccepted,
    CommandArmed,
    CommandFaulted,
    CommandFinished,
    CommandInterrupted,
    CommandProgressed,
    CommandRefused,
    CommandStarted,
    Event,
    PartyHeld,
    PartyLost,
    PartyReady,
    PartySeen,
    SignalSeen,
)
from coordinator.core.plan import Plan
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
    OnHold,
    PartyState,
    Progressed,
    Ready,
    Refused,
    Release,
    Report,
    SimulatedFacts,
    Started,
    Value,
)
from coordinator.wire.topics import COORDINATOR, EVERYBODY, FLOOR, impersonation

_ON_HOLD: dict[str, OnHold] = {word: word for word in get_args(OnHold)}


class LocalProtocolError(Exception):
    """We were about to send something that the contract does not allow."""


@dataclass(frozen=True, slots=True)
class Translation:
    """The events that a message stands for, and what of it was left out and why."""

    events: tuple[Event, ...] = ()
    dropped: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Outgoing:
    """A body, whom it is for, and until when it counts (cell's clock)."""

    subject: str
    body: Body
    expires_us: int


@dataclass(frozen=True, slots=True)
class Envelope:
    """What the sender adds to an `Outgoing`."""

    epoch: int
    sequence: int
    now_us: int
    ordinal: int | None = None


def to_events(plan: Plan, message: Message, now_us: int, origin_us: int) -> Translation:
    """Return what a message means to the core.

    Args:
        plan: Gives parties and signals their indices.
        message: As it came from the bus.
        now_us: When it is decided on, cell's clock.
        origin_us: When the run began, cell's clock.

    Returns:
        Events in a fixed order; reasons for what was dropped.
    """
    at_us = now_us - origin_us
    body = message.body
    if (forged := impersonation(message)) is not None:
        return Translation(dropped=(forged,))
    match body:
        case FloorSignals() if message.source != FLOOR:
            return Translation(dropped=(f"'{message.source}' is not the floor, yet tells signals",))
        case FloorSignals():
            return _from_signals(plan, body.signals, at_us)
        case PartyState():
            return _from_state(plan, message, body, at_us)
        case SimulatedFacts():
            return Translation()  # Facts about simulated steel are for the simulated world alone.
        case Do() | Release() | Disarm() | Hold() | MakeReady() | Ask() | AskState() | Lease():
            return Translation(
                dropped=(f"{type(body).__name__} from '{message.source}' is a command",)
            )
        case _:
            return _from_report(plan, message, body, at_us, origin_us)


def _from_signals(plan: Plan, values: Mapping[str, bool | None], at_us: int) -> Translation:
    events = [
        SignalSeen(at_us, index, values[signal.name])
        for index, signal in enumerate(plan.signals)
        if signal.name in values
    ]
    if len(events) == len(values):
        return Translation(tuple(events))
    names = {signal.name: None for signal in plan.signals}
    unknown = [f"unknown signal '{name}'" for name in sorted(values) if name not in names]
    return Translation(tuple(events), tuple(unknown))


def party_of(plan: Plan, name: str) -> int:
    """Return the index of a party, -1 for none."""
    return next((index for index, party in enumerate(plan.parties) if party.name == name), -1)


def _from_state(plan: Plan, message: Message, body: PartyState, at_us: int) -> Translation:
    if message.source == COORDINATOR:
        return Translation()
    party = party_of(plan, message.source)
    events: list[Event] = []
    if message.source == FLOOR and not body.online:
        # Nobody watches the signals any more: unknown now, without waiting for them to grow old.
        events += [SignalSeen(at_us, index, None) for index in range(len(plan.signals))]
    if party >= 0 and body.online:
        events.append(PartySeen(at_us, party, body.boot, body.running))
    elif party >= 0:
        events.append(PartyLost(at_us, party))
    elif message.source != FLOOR:
        return Translation(dropped=(f"unknown party '{message.source}'",))
    return Translation(tuple(events))


def _from_report(
    plan: Plan, message: Message, body: Report, at_us: int, origin_us: int
) -> Translation:
    party = party_of(plan, message.source)
    if party < 0:
        return Translation(dropped=(f"unknown party '{message.source}'",))
    return Translation((_report_event(party, body, at_us, origin_us),))


def _report_event(party: int, body: Report, at_us: int, origin_us: int) -> Event:
    match body:
        case Accepted(command):
            return CommandAccepted(at_us, party, command)
        case Refused(command, reason, detail):
            return CommandRefused(at_us, party, command, reason, detail)
        case Armed(command):
            return CommandArmed(at_us, party, command)
        case Started(command, started_us):
            return CommandStarted(at_us, party, command, started_us - origin_us)
        case Progressed(command, torque_nm):
            whole_nm = None if torque_nm is None else round(torque_nm)
            return CommandProgressed(at_us, party, command, whole_nm)
        case Finished(command, results):
            return CommandFinished(at_us, party, command, numeric_results(results))
        case Faulted(command, fault, evidence):
            return CommandFaulted(at_us, party, command, fault, numeric_results(evidence))
        case Interrupted(command, evidence):
            died = evidence.get("process_died") is True
            return CommandInterrupted(at_us, party, command, died)
        case Held(reason, number):
            return PartyHeld(at_us, party, number, reason)
        case Ready(number):
            return PartyReady(at_us, party, number)
        case _:
            assert_never(body)


def numeric_results(results: Mapping[str, Value]) -> tuple[tuple[str, float], ...]:
    """Return the finite numbers among results, sorted by name; a truth value is no number."""
    numbers = ((name, _number(value)) for name, value in sorted(results.items()))
    return tuple((name, number) for name, number in numbers if number is not None)


def _number(value: Value) -> float | None:
    if isinstance(value, bool | str):
        return None
    try:
        number = float(value)
    except OverflowError:  # A whole number too large for a float is nothing that was measured.
        return None
    return number if math.isfinite(number) else None


def to_outgoing(plan: Plan, effect: Effect, origin_us: int) -> Outgoing | None:
    """Return what an effect sends, or None for an effect that stays at home.

    Raises:
        LocalProtocolError: a move names a hold behaviour that the contract does not know.
    """
    match effect:
        case RaisePrompt() | WithdrawPrompt() | WriteRecord() | Notify() | AnswerCall():
            return None
        case SendLease(until_us):
            caps = plan.caps
            lease = Lease(until_us + origin_us, caps.torque_nm, caps.speed_share)
            return Outgoing(EVERYBODY, lease, until_us + origin_us)
        case SendDo():
            body: Body = _to_do(plan, effect)
        case SendRelease():
            body = Release(effect.command, effect.start_us + origin_us)
        case SendDisarm():
            body = Disarm(effect.command, effect.reason)
        case SendHold():
            body = Hold(effect.reason, effect.number)
        case SendMakeReady():
            body = MakeReady(effect.number)
        case SendAsk():
            body = Ask(effect.command) if effect.command else AskState()
        case _:
            assert_never(effect)
    return Outgoing(plan.parties[effect.party].name, body, effect.expires_us + origin_us)


def _to_do(plan: Plan, effect: SendDo) -> Do:
    if effect.move.on_hold not in _ON_HOLD:
        raise LocalProtocolError(
            f"action '{effect.move.action}': on_hold is '{effect.move.on_hold}', "
            f"must be one of {', '.join(_ON_HOLD)} [LNK007]"
        )
    barrier = None
    if effect.barrier >= 0:
        # The epoch keeps two meetings at the same barrier apart in a party's log.
        barrier = f"{plan.barriers[effect.barrier].name}/{effect.barrier_epoch}"
    return Do(
        command=effect.command,
        step=plan.nodes[effect.node].name if effect.node >= 0 else "stand_by",
        action=effect.move.action,
        parameters=dict(effect.move.parameters),
        barrier=barrier,
        on_hold=_ON_HOLD[effect.move.on_hold],
    )


def to_message(outgoing: Outgoing, envelope: Envelope) -> Message:
    """Put an outgoing body into the coordinator's envelope."""
    return Message(
        source=COORDINATOR,
        subject=outgoing.subject,
        sequence=envelope.sequence,
        epoch=envelope.epoch,
        sent_us=envelope.now_us,
        body=outgoing.body,
        expires_us=outgoing.expires_us,
        ordinal=envelope.ordinal,
    )
