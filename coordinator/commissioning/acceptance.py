"""Take one party through the lines of its acceptance, and write down what was seen.

Units: ``*_s`` seconds; figures have theirs in their names.
Invariants: CM1, an acceptance is passed only if every line of it was; CM2, each line names who
signs for it, and the report the party's own word whether it is simulated.
"""

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

from coordinator.commissioning.lines import LINES, Figures, Line
from coordinator.commissioning.probe import Failed, NotDone, Probe
from coordinator.live.link import LinkLost
from coordinator.wire.codec import to_time
from coordinator.wire.messages import PartyState

Result = Literal["passed", "failed", "not done"]
LINE_S_MAX = 30.0
"""Chosen: longer than any line may need; a party that keeps us waiting fails it."""


@dataclass(frozen=True, slots=True)
class Seen:
    """How one line went."""

    code: str
    title: str
    promise: str
    by: str
    """Who looked, and signs for this line."""
    at: str
    """When it was done, RFC 3339."""
    result: Result
    text: str = ""
    figures: Figures = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Report:
    """How a party did."""

    cell: str
    party: str
    by: str
    at: str
    simulated: bool | None
    """What the party says of itself; None if it said nothing."""
    seen: tuple[Seen, ...]

    @property
    def is_passed(self) -> bool:
        """Tell whether every line that can be looked at here was kept."""
        return bool(self.seen) and all(one.result == "passed" for one in self.seen)

    @property
    def failed(self) -> tuple[str, ...]:
        """Return the codes of the lines that were not kept."""
        return tuple(one.code for one in self.seen if one.result == "failed")

    def document(self) -> dict[str, Any]:
        """Return everything for a file."""
        return {**asdict(self), "passed": self.is_passed, "failed": list(self.failed)}


async def accept(
    probe: Probe,
    *,
    cell: str,
    by: str,
    at: str,
    codes: Sequence[str] = (),
    tell: Callable[[Seen], None] = lambda _: None,
) -> Report:
    """Look at every line, or at those that are named, one after the other.

    Args:
        probe: Not open yet.
        cell: Name of the cell.
        by: Who carries it out and signs.
        at: When, RFC 3339.
        codes: Of the lines; all of them without.
        tell: Told of each line as it is done.
    """
    await probe.open()
    seen = []
    try:
        for one in LINES:
            if codes and one.code not in codes:
                continue
            seen.append(await _look(one, probe, by))
            tell(seen[-1])
            if one is LINES[0] and seen[-1].result == "failed":
                break  # Nobody is there: every other line would say the same.
        await _leave_held(probe)
    finally:
        await probe.close()
    states = [one.message.body for one in probe.heard]
    told = [one.simulated for one in states if isinstance(one, PartyState) and one.online]
    return Report(cell, probe.party, by, at, told[-1] if told else None, tuple(seen))


async def _look(line: Line, probe: Probe, by: str) -> Seen:
    result, text, figures = await _try(line, probe)
    at = to_time(probe.clock_us())
    return Seen(line.code, line.title, line.promise, by, at, result, text, figures)


async def _try(line: Line, probe: Probe) -> tuple[Result, str, Figures]:
    try:
        async with asyncio.timeout(LINE_S_MAX):
            return "passed", "", await line.look(probe)
    except NotDone as why:
        return "not done", str(why), {}
    except Failed as why:
        return "failed", str(why), {}
    except LinkLost as why:
        return "failed", f"the link broke: {why}", {}
    except TimeoutError:
        return "failed", f"it took longer than {LINE_S_MAX:g} s", {}


async def _leave_held(probe: Probe) -> None:
    """Leave the party held, whatever the last line was."""
    probe.lease = None
    try:
        await probe.hold()
    except (Failed, LinkLost):
        return  # The report has said so already, or the party is gone.
