"""Measure a party's clock in an acceptance, by what every party answers already.

Units: ``*_s`` seconds; ``*_us`` whole microseconds.
"""

import asyncio

from coordinator.commissioning.party_clock import Exchange, Offset, best_offset
from coordinator.commissioning.probe import START_LATE_S_MAX, Failed, Probe
from coordinator.wire.messages import Ask, AskState, PartyState, Refused

MS = 1e-3
CLOCK_OFF_S_MAX = START_LATE_S_MAX / 4
"""Chosen: the clocks of two parties then take half of the window; their starts have the rest."""
EXCHANGES_MIN = 8
"""As many as the clock filter of RFC 5905, section 10, looks at."""
EXCHANGES_MAX = 40
PAUSE_S = 0.06
"""Chosen: longer than a TCP acknowledgement may be delayed (40 ms on Linux, common practice, no
source). A broker with Nagle's algorithm on holds a small message back until then."""


async def measure_clock(probe: Probe) -> Offset:
    """Measure the party's clock until it is sure on which side of the limit it is.

    Raises:
        Failed: it is further off than it may be, or that cannot be told.
    """
    await probe.want(PartyState, 0, within_s=3.0)  # It is there, or its answer may be lost.
    exchanges: list[Exchange] = []
    most_us = int(CLOCK_OFF_S_MAX * 1e6)
    limit = f"may be {CLOCK_OFF_S_MAX * 1e3:g} ms off"
    while len(exchanges) < EXCHANGES_MAX:
        exchanges.append(await _exchange(probe))
        offset = best_offset(exchanges)
        if len(exchanges) >= EXCHANGES_MIN and offset.most_us <= most_us:
            return offset
        if len(exchanges) >= EXCHANGES_MIN and offset.least_us > most_us:
            way = "ahead of" if offset.offset_us > 0 else "behind"
            found = f"{abs(offset.offset_us) * MS:.1f} ms {way} the cell's, {limit}"
            give = f"give or take {offset.uncertainty_us * MS:.1f} ms"
            raise Failed(f"its clock is {found} ({give}); set it by NTP or PTP")
    raise Failed(
        f"its clock is known to {offset.uncertainty_us * MS:.1f} ms alone and {limit}: the network"
        " or the party answers too slowly; give it a quicker way to the broker"
    )


async def _exchange(probe: Probe) -> Exchange:
    """Ask what became of a command that never was: the answer names it, and no other does."""
    await asyncio.sleep(PAUSE_S)
    never, since = probe.number(), len(probe.heard)
    asked_us = await probe.say(Ask(never))
    # Anything that we send carries our acknowledgement, for which the answer would wait.
    await probe.say(AskState())
    answer, heard_us = await probe.want(Refused, since, lambda one: one.command == never)
    sent_us = next(one.message.sent_us for one in probe.heard[since:] if one.message.body is answer)
    return Exchange(asked_us, sent_us, sent_us, heard_us)
