"""The lines of an arm's acceptance: each asks for one promise of the wire contract.

Units: figures have theirs in their names.
Invariants: CM5, each line of an acceptance begins from a party at rest and needs no other; CM6, a
line that could not be looked at says so and is never counted as passed.
"""

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from coordinator.commissioning.measured_clock import measure_clock
from coordinator.commissioning.probe import CLOCK_S_MAX, LEASE_S, PERSON_S, Failed, NotDone, Probe
from coordinator.wire.messages import (
    Accepted,
    Armed,
    Ask,
    AskState,
    Disarm,
    Do,
    Finished,
    FloorSignals,
    Held,
    Hold,
    Interrupted,
    MakeReady,
    PartyState,
    Progressed,
    Ready,
    Refused,
    Release,
    Started,
)

Figures = dict[str, float]
STAND_BY = "stand_by"
HOLD_S_MAX = 3.0
"""Chosen: what the shipped cells give a party to confirm that it stands."""
LEASE_LATE_S_MAX = 0.5
BEAT_S_MAX = 1.5
AT_ONCE_S_MAX = 0.3
"""Chosen: a fraction of a heartbeat, so that three in a row are no chance."""
MS = 1e-3
CLOCK_STEP_US = 1_000
"""A control in another language may count no finer than milliseconds."""
LATE_US = int(CLOCK_S_MAX * 1e6) + 2 * CLOCK_STEP_US
"""Late by every clock that ARM24 lets pass, told and read in whole steps."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line: what is asked for, and how it is seen."""

    code: str
    title: str
    promise: str
    look: Callable[[Probe], Awaitable[Figures]]


LINES: list[Line] = []
Look = Callable[[Probe], Awaitable[Figures]]


def line(code: str, title: str) -> Callable[[Look], Look]:
    """Make a line of a function; its docstring is the promise."""

    def made(look: Look) -> Look:
        promise = " ".join((look.__doc__ or "").split())
        LINES.append(Line(code, title, promise, look))
        return look

    return made


def _ms(from_us: int, to_us: int) -> float:
    return round((to_us - from_us) * MS, 1)


async def _refused(probe: Probe, command: int, since: int, reason: str) -> None:
    body, _ = await probe.want(Refused, since, lambda one: one.command == command)
    if body.reason != reason:
        raise Failed(f"refused as {body.reason}, must be {reason}")


async def _refuses(probe: Probe, do: Do, reason: str, **more: int | None) -> Figures:
    """See a command refused for a reason, and nothing begun."""
    since = len(probe.heard)
    at_us = await probe.say(do, **more)  # type: ignore[arg-type]  # expiry and epoch alone
    await _refused(probe, do.command, since, reason)
    answered_us = probe.heard[-1].at_us
    await probe.require_silence(Accepted, since)
    return {"answer_ms": _ms(at_us, answered_us)}


async def _arm(probe: Probe) -> tuple[int, int]:
    """Let the party arm; return the place in what was heard, and the command."""
    await probe.ready()
    since, number = len(probe.heard), probe.number()
    await probe.say(Do(number, "x", STAND_BY, {}, "meeting/1"))
    await probe.want(Armed, since, lambda one: one.command == number)
    return since, number


@line("ARM01", "tells how it stands")
async def tells_how_it_stands(probe: Probe) -> Figures:
    """A heartbeat at least every 1.5 s, with its boot and whether it is simulated."""
    since = len(probe.heard)
    first, first_us = await probe.want(PartyState, since, within_s=3.0)
    if not first.online:
        raise Failed("it says of itself that it is not there")
    _, second_us = await probe.want(PartyState, len(probe.heard), within_s=BEAT_S_MAX + 0.5)
    if (second_us - first_us) / 1e6 > BEAT_S_MAX:
        raise Failed(f"{(second_us - first_us) / 1e6:.2f} s between two heartbeats")
    return {"heartbeat_ms": _ms(first_us, second_us), "simulated": float(first.simulated)}


@line("ARM02", "refuses work while held")
async def refuses_while_held(probe: Probe) -> Figures:
    """Held, it takes no command; a party wakes up held."""
    await probe.ready()
    await probe.hold()
    return await _refuses(probe, Do(probe.number(), "x", STAND_BY), "unready")


@line("ARM03", "leaves held when asked, and moves nothing by it")
async def leaves_held(probe: Probe) -> Figures:
    """`Ready` comes with the number of the make-ready; a hold is answered with its own."""
    await probe.hold()
    await probe.say_lease()
    since, number = len(probe.heard), probe.number()
    at_us = await probe.say(MakeReady(number))
    _, ready_us = await probe.want(Ready, since, lambda one: one.number == number)
    await probe.require_silence(Started, since, 0.2)
    return {"ready_ms": _ms(at_us, ready_us)}


@line("ARM04", "moves nothing without a lease")
async def needs_a_lease(probe: Probe) -> Figures:
    """With no fresh lease a command is refused."""
    await probe.ready()
    probe.lease = None
    await asyncio.sleep(LEASE_S + CLOCK_S_MAX + 0.1)
    number, since = probe.number(), len(probe.heard)
    await probe.say(Do(number, "x", STAND_BY))
    body, _ = await probe.want(Refused, since, lambda one: one.command == number)
    if body.reason not in ("no_lease", "unready"):
        raise Failed(f"refused as {body.reason}, must be no_lease, or unready if it held by itself")
    return {}


@line("ARM05", "does a command and tells its end")
async def does_a_command(probe: Probe) -> Figures:
    """Accepted, then finished, under the number of the command."""
    await probe.ready()
    number, since = probe.number(), len(probe.heard)
    at_us = await probe.say(Do(number, "x", STAND_BY))
    _, accepted_us = await probe.want(Accepted, since, lambda one: one.command == number)
    _, ended_us = await probe.want(Finished, since, lambda one: one.command == number)
    return {"accepted_ms": _ms(at_us, accepted_us), "finished_ms": _ms(at_us, ended_us)}


@line("ARM06", "does a copy of a command never again")
async def refuses_a_copy(probe: Probe) -> Figures:
    """A command that it knows is refused as a duplicate, and its last report comes again."""
    await probe.ready()
    do = Do(probe.number(), "x", STAND_BY)
    since = len(probe.heard)
    await probe.say(do)
    await probe.want(Finished, since, lambda one: one.command == do.command)
    since = len(probe.heard)
    await probe.say(do)
    await _refused(probe, do.command, since, "duplicate")
    await probe.want(Finished, since, lambda one: one.command == do.command)
    await probe.require_silence(Accepted, since)
    return {}


@line("ARM07", "refuses an older number")
async def refuses_an_older_number(probe: Probe) -> Figures:
    """A number older than one obeyed is outdated, though it was never seen."""
    older = probe.number()
    await probe.ready()
    since, newer = len(probe.heard), probe.number()
    await probe.say(Do(newer, "x", STAND_BY))
    await probe.want(Finished, since, lambda one: one.command == newer)
    return await _refuses(probe, Do(older, "x", STAND_BY), "outdated")


@line("ARM08", "refuses what comes too late")
async def refuses_what_is_late(probe: Probe) -> Figures:
    """A command past its expiry, or without one, is refused and not begun."""
    await probe.ready()
    late = Do(probe.number(), "x", STAND_BY)
    figures = await _refuses(probe, late, "expired", expires_in_us=-LATE_US)
    bare = Do(probe.number(), "x", STAND_BY)
    await _refuses(probe, bare, "expired", expires_in_us=None)
    return figures


@line("ARM09", "refuses an older coordinator")
async def refuses_an_older_epoch(probe: Probe) -> Figures:
    """Commands of an earlier epoch are outdated once a later one was obeyed."""
    await probe.ready()
    do = Do(probe.number(), "x", STAND_BY)
    return await _refuses(probe, do, "outdated", epoch=probe.epoch - 1)


@line("ARM10", "does not do what it does not know")
async def refuses_unknown_work(probe: Probe) -> Figures:
    """An action that it does not have is unfit; nothing is begun in its place."""
    await probe.ready()
    return await _refuses(probe, Do(probe.number(), "x", "dance_on_the_table"), "unfit")


@line("ARM11", "keeps the cap on torque itself")
async def keeps_the_cap(probe: Probe) -> Figures:
    """A torque above the cap that came with the lease is unfit, whoever asks for it."""
    if probe.torque is None:
        raise NotDone("the cell names no action that takes a torque")
    await probe.ready(torque_nm_max=10.0)
    action, parameter = probe.torque
    over = Do(probe.number(), "x", action, {parameter: 11.0})
    figures = await _refuses(probe, over, "unfit")
    refusal = next(
        one.message.body for one in reversed(probe.heard) if isinstance(one.message.body, Refused)
    )
    if "10" not in refusal.detail and "cap" not in refusal.detail:
        raise Failed(f"refused, but not for its torque: {refusal.detail or 'no detail'}")
    return {**figures, "cap_nm": 10.0}


@line("ARM12", "answers when asked what became of a command")
async def answers_when_asked(probe: Probe) -> Figures:
    """The last report of a command it knows; unknown for one that never came."""
    await probe.ready()
    since, never, number = len(probe.heard), probe.number(), probe.number()
    await probe.say(Do(number, "x", STAND_BY))
    await probe.want(Finished, since, lambda one: one.command == number)
    since = len(probe.heard)
    await probe.say(Ask(number))
    await probe.want(Finished, since, lambda one: one.command == number)
    await probe.say(Ask(never))
    await _refused(probe, never, since, "unknown")
    return {}


@line("ARM13", "waits armed, and starts at the time it was given")
async def starts_on_time(probe: Probe) -> Figures:
    """Armed it moves nothing; released it starts at the start time, neither earlier nor later."""
    since, number = await _arm(probe)
    await probe.require_silence(Started, since, 0.6)
    start_us = probe.clock_us() + 300_000
    await probe.say(Release(number, start_us))
    started, _ = await probe.want(Started, since, lambda one: one.command == number)
    late_s = (started.started_us - start_us) / 1e6
    if not 0.0 <= late_s <= probe.start_late_s_max:
        most_ms = probe.start_late_s_max * 1e3
        raise Failed(f"started {late_s * 1e3:.1f} ms after its time, must be 0 to {most_ms:g} ms")
    await probe.want(Finished, since, lambda one: one.command == number)
    return {"late_ms": round(late_s * 1e3, 2)}


@line("ARM14", "forgets what it was disarmed of")
async def forgets_when_disarmed(probe: Probe) -> Figures:
    """After a disarm a release moves nothing."""
    since, number = await _arm(probe)
    await probe.say(Disarm(number, "acceptance"))
    await probe.want(PartyState, len(probe.heard), lambda one: one.state == "idle")
    since = len(probe.heard)
    await probe.say(Release(number, probe.clock_us() + 100_000))
    await probe.want(Refused, since, lambda one: one.command == number)
    await probe.require_silence(Started, since)
    return {}


@line("ARM15", "refuses a start that has passed")
async def refuses_a_passed_start(probe: Probe) -> Figures:
    """A release whose start time is long over is expired: the other side began without it."""
    since, number = await _arm(probe)
    await probe.say(Release(number, probe.clock_us() - 5_000_000))
    await _refused(probe, number, since, "expired")
    await probe.require_silence(Started, since)
    await probe.hold()
    return {}


@line("ARM16", "comes to rest when told, in time")
async def holds_in_time(probe: Probe) -> Figures:
    """In the middle of a motion: interrupted first, then held, under the hold's own number."""
    await probe.ready()
    command = await probe.begin()
    since, number = len(probe.heard), probe.number()
    at_us = await probe.say(Hold("acceptance", number))
    _, held_us = await probe.want(Held, since, lambda one: one.number == number, HOLD_S_MAX)
    kinds = [type(one.message.body) for one in probe.heard[since:]]
    if not any(kind in (Interrupted, Finished) for kind in kinds[: kinds.index(Held)]):
        raise Failed(f"said held before it said what became of command {command}")
    return {"held_ms": _ms(at_us, held_us)}


@line("ARM17", "stays held until it is made ready")
async def stays_held(probe: Probe) -> Figures:
    """After a hold no command moves it, and an older make-ready does not free it."""
    await probe.ready()
    older = probe.number()
    await probe.begin()
    await probe.hold()
    since = len(probe.heard)
    await probe.say(MakeReady(older))
    await probe.require_silence(Ready, since)
    return await _refuses(probe, Do(probe.number(), "x", STAND_BY), "unready")


@line("ARM18", "holds by itself when the lease ends")
async def holds_without_a_lease(probe: Probe) -> Figures:
    """In the middle of a motion the lease runs out: it comes to rest, and nobody had to ask."""
    await probe.ready()
    await probe.begin()
    probe.lease = None
    last_us = max(probe.clock_us(), 0)
    since = len(probe.heard)
    _, held_us = await probe.want(Held, since, lambda one: one.number == 0, LEASE_S + 4.0)
    after_s = (held_us - last_us) / 1e6 - LEASE_S
    if after_s > HOLD_S_MAX:
        raise Failed(f"held {after_s:.2f} s after the lease was over")
    return {"after_lease_ms": round(max(after_s, 0.0) * 1e3, 1)}


@line("ARM19", "watches the floor by itself")
async def watches_the_floor(probe: Probe) -> Figures:
    """A signal turns bad in the middle of a motion: it holds without being told."""
    await probe.ready()
    await probe.begin()
    since, bad = len(probe.heard), len(probe.bad_us)
    probe.ask("make a signal of the floor bad that the arm watches, such as floor_clear")
    _, held_us = await probe.want(Held, since, lambda one: one.number == 0, PERSON_S)
    if len(probe.bad_us) == bad:
        raise Failed("held, but no signal of the floor turned bad")
    probe.ask("make the signal good again")
    await probe.wait_floor_good()
    return {"held_ms": _ms(probe.bad_us[bad], held_us)}


@line("ARM20", "shows that it is at work")
async def shows_its_work(probe: Probe) -> Figures:
    """A sign of work at least every 1.5 s while it moves."""
    await probe.ready()
    command = await probe.begin()
    since = len(probe.heard)
    _, first_us = await probe.want(Progressed, since, lambda one: one.command == command, 2.0)
    place = len(probe.heard)
    _, second_us = await probe.want(Progressed, place, lambda one: one.command == command, 2.0)
    if (second_us - first_us) / 1e6 > BEAT_S_MAX:
        raise Failed(f"{(second_us - first_us) / 1e6:.2f} s between two signs of work")
    await probe.hold()
    return {"sign_ms": _ms(first_us, second_us)}


@line("ARM21", "believes nobody but its coordinator")
async def believes_nobody_else(probe: Probe) -> Figures:
    """Commands, leases and signals that somebody else says move nothing and upset nothing."""
    await probe.ready()
    forged, since = probe.number(), len(probe.heard)
    await probe.say(Finished(probe.number()), source="stranger")
    await probe.say(FloorSignals({"floor_clear": True}), source="stranger")
    await probe.say(Do(forged, "x", STAND_BY), source="stranger")
    await probe.require_silence(Accepted, since)
    number, since = probe.number(), len(probe.heard)
    await probe.say(Do(number, "x", STAND_BY))
    await probe.want(Finished, since, lambda one: one.command == number)
    await probe.hold()
    since = len(probe.heard)
    await probe.say(MakeReady(probe.number()), source="stranger")
    await probe.require_silence(Ready, since)
    return {}


@line("ARM22", "remembers over a new start of its control")
async def remembers_over_a_restart(probe: Probe) -> Figures:
    """Started anew it is held, says what became of the command at work, and never does it again."""
    await probe.ready()
    before, _ = await probe.want(PartyState, len(probe.heard), within_s=2.0)
    command, since = await probe.begin(), len(probe.heard)
    probe.ask("switch the arm's control off and on again")
    again, _ = await probe.want(
        PartyState, since, lambda one: one.online and one.boot != before.boot, PERSON_S
    )
    if again.state != "held":
        raise Failed(f"it is {again.state} after a new start, must be held")
    await probe.say(Ask(command))
    await probe.want(Interrupted, since, lambda one: one.command == command)
    await probe.ready()
    since = len(probe.heard)
    await probe.say(Do(command, "x", STAND_BY))
    await _refused(probe, command, since, "duplicate")
    await probe.require_silence(Accepted, since)
    return {"boots": float(again.boot - before.boot)}


@line("ARM23", "takes nothing from the broker's memory")
async def takes_nothing_kept(probe: Probe) -> Figures:
    """A make-ready that the broker kept is refused as retained, and the party stays held."""
    await probe.hold()
    before, _ = await probe.want(PartyState, len(probe.heard), within_s=2.0)
    number = probe.number()
    async with probe.kept(MakeReady(number)):
        await probe.hold()  # While it is there it takes the same message as a fresh one.
        since = len(probe.heard)
        probe.ask("switch the arm's control off and on again")
        await probe.want(
            PartyState, since, lambda one: one.online and one.boot != before.boot, PERSON_S
        )
        await _refused(probe, number, since, "retained")
        await probe.require_silence(Ready, since)
    return {}


@line("ARM24", "has the cell's time")
async def has_the_time(probe: Probe) -> Figures:
    """Its clock is off by at most a quarter of the smallest window, asked and answered many times;
    what it says arrives within half a second of when it says that it was sent.
    """
    offset = await measure_clock(probe)
    await probe.ready()
    since = len(probe.heard)
    await probe.begin()
    await probe.want(Progressed, since, within_s=2.0)
    await probe.hold()
    ages_us = [one.at_us - one.message.sent_us for one in probe.heard[since:] if not one.retained]
    worst_us = max(ages_us, key=abs)
    if abs(worst_us) / 1e6 > CLOCK_S_MAX:
        raise Failed(f"a message was {worst_us / 1e6:.2f} s old on arrival, by its own clock")
    return {
        "offset_ms": _ms(0, offset.offset_us),
        "uncertainty_ms": _ms(0, offset.uncertainty_us),
        "age_ms_min": _ms(0, min(ages_us)),
        "age_ms_max": _ms(0, max(ages_us)),
    }


@line("ARM25", "numbers what it says")
async def numbers_what_it_says(probe: Probe) -> Figures:
    """Each message carries an ordinal, one more than the last, so that a lost one is noticed."""
    await probe.ready()
    number, since = probe.number(), len(probe.heard)
    await probe.say(Do(number, "x", STAND_BY))
    await probe.want(Finished, since, lambda one: one.command == number)
    await probe.want(PartyState, len(probe.heard), within_s=BEAT_S_MAX)
    said = [one.message for one in probe.heard[since:] if not one.retained]
    bare = [type(one.body).__name__ for one in said if one.ordinal is None]
    if bare:
        raise Failed(f"no ordinal on {', '.join(dict.fromkeys(bare))}")
    ordinals = sorted({one.ordinal or 0 for one in said})
    if ordinals != list(range(ordinals[0], ordinals[0] + len(ordinals))):
        raise Failed(f"ordinals {ordinals}, must grow by one")
    return {"messages": float(len(ordinals))}


@line("ARM26", "tells that a message to it was lost")
async def tells_a_loss(probe: Probe) -> Figures:
    """A number is missing among its commands: it says at once how it stands, and goes on."""
    await probe.ready()
    before, _ = await probe.want(PartyState, len(probe.heard), within_s=BEAT_S_MAX)
    probe.lose(Ask(probe.number()))
    since = len(probe.heard)
    at_us = await probe.say(Ask(probe.number()))
    after, told_us = await probe.want(PartyState, since, lambda one: one.missed != before.missed)
    if after.missed != before.missed + 1:
        raise Failed(f"it has missed {after.missed - before.missed}, must be 1")
    if after.state != "idle":
        raise Failed(f"it is {after.state} because of it, must be idle as before")
    return {"told_ms": _ms(at_us, told_us)}


@line("ARM27", "says how it stands when asked")
async def says_how_it_stands(probe: Probe) -> Figures:
    """Asked for its state it answers at once, three times in a row, and moves nothing."""
    await probe.ready()
    worst_ms = 0.0
    for _ in range(3):
        since = len(probe.heard)
        at_us = await probe.say(AskState())
        _, told_us = await probe.want(PartyState, since, within_s=AT_ONCE_S_MAX)
        worst_ms = max(worst_ms, _ms(at_us, told_us))
    return {"state_ms": worst_ms}


@line("ARM28", "knows that what it dropped was never begun")
async def knows_what_never_began(probe: Probe) -> Figures:
    """Held between its release and its start it says so before `Held`, and again when asked."""
    since, number = await _arm(probe)
    await probe.say(Release(number, probe.clock_us() + 2_000_000))
    await probe.hold()
    kinds = [type(one.message.body) for one in probe.heard[since:]]
    if Started in kinds or Refused not in kinds[: kinds.index(Held)]:
        raise Failed(f"must say, before it says held, that command {number} was never begun")
    since = len(probe.heard)
    await probe.say(Ask(number))
    await _refused(probe, number, since, "never_begun")
    return {}
