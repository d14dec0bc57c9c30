"""Say how the barriers of two plans differ: who meets, how long they wait, what a pair may do.

Units: as in the plan.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from coordinator.compare.change import Change, listed
from coordinator.compare.words import sentence, told_apart
from coordinator.core.plan import Plan
from coordinator.draw.words import plain


@dataclass(frozen=True, slots=True)
class _Facts:
    """One barrier, whatever the loops around it."""

    parties: tuple[str, ...]
    timeout_us: int
    window_us: int
    until: str = ""
    balance_nm: int = 0
    stop_us: int = 0


def compare_barriers(was: Plan, now: Plan) -> Iterator[Change]:
    """Yield every change of the barriers that stand in both plans, and the figures of new ones."""
    before, after = _facts(was), _facts(now)
    for name, facts in after.items():
        texts = _changes(before[name], facts) if name in before else [_new(facts)]
        yield from (Change("barriers", f"barrier {plain(name)}{text}") for text in texts)
    for name in before:
        if name not in after:
            yield Change("barriers", f"there is no barrier {plain(name)} any more")


def _facts(plan: Plan) -> dict[str, _Facts]:
    found: dict[str, _Facts] = {}
    for barrier in plan.barriers:
        name = barrier.name.partition(" (")[0]
        if name in found:
            continue
        parties = tuple(plan.parties[lane].name for lane in barrier.lanes)
        found[name] = _Facts(parties, barrier.timeout_us, barrier.window_us)
        if barrier.span >= 0:
            span = plan.spans[barrier.span]
            until = plan.barriers[span.closes].name.partition(" (")[0]
            found[name] = _Facts(
                *(parties, barrier.timeout_us, barrier.window_us),
                *(until, span.balance_nm, span.stop_us),
            )
    return found


def _new(facts: _Facts) -> str:
    waits, _ = told_apart(facts.timeout_us, None, "time_us")
    paired = f", paired until {plain(facts.until)}" if facts.until else ""
    return f" is new: {listed(facts.parties)} meet there and wait {waits} at most{paired}"


def _changes(was: _Facts, now: _Facts) -> Iterator[str]:
    if was.parties != now.parties:
        yield f": {listed(now.parties)} now meet there, was {listed(was.parties)}"
    yield from _figures(was, now, "timeout_us", "window_us")
    if was.until != now.until:
        new, old = (plain(one.until) or "nothing" for one in (now, was))
        yield f": one fate now holds for both sides until {new}, was until {old}"
    if was.until and now.until:
        yield from _figures(was, now, "balance_nm", "stop_us")


def _figures(was: _Facts, now: _Facts, *names: str) -> Iterator[str]:
    for name in names:
        before, after = getattr(was, name), getattr(now, name)
        if before != after:
            yield sentence("barrier", name, after, before) or name
