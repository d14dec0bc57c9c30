"""Decide from the book what a party may stand as: simulated, then shadow, then real, by degrees.

Nothing is opened by a tick: each step asks for entries that other verbs have written.

Invariants: CM17, a later failure takes back what an earlier pass has opened; CM18, evidence counts
for the files it was taken with, by the hash over all of them, and what an arm shows of itself for
the arm; CM19, a run that was broken off and resumed is whole for simulated parties, whose every
event is in its journal, and opens nothing for others: what they did meanwhile nobody has heard.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from coordinator.commissioning.book import Entry
from coordinator.commissioning.lines import LINES
from coordinator.commissioning.points import points_of
from coordinator.commissioning.sheet import Row, sheet_of, unchecked
from coordinator.core.plan import Caps, Mode
from coordinator.live.standing import Standing, Standings
from coordinator.sequence import Loaded
from coordinator.wire.topics import FLOOR

RUN = "run"
"""Kind of the entry that a run leaves."""
ACCEPTANCE = "acceptance"
SLOW_SHARE_MAX = 0.25
"""Chosen: a quarter of full speed, at which a person beside an arm can still step back."""


@dataclass(frozen=True, slots=True)
class Missing:
    """A piece of evidence that is not there."""

    party: str
    what: str
    how: str
    """How to get it."""

    @property
    def text(self) -> str:
        """Return it in one line."""
        return f"{self.party}: {self.what}; {self.how}"


@dataclass(frozen=True, slots=True)
class Asked:
    """What a run asks for."""

    loaded: Loaded
    path: str
    """Of the sequence, as the person wrote it."""
    standings: Standings
    mode: Mode
    caps: Caps


def is_no_torque(caps: Caps) -> bool:
    """Tell whether nothing may be pulled at all."""
    return caps.torque_nm == 0.0


def is_slow(caps: Caps) -> bool:
    """Tell whether a person beside the arm can still step back."""
    return caps.speed_share <= SLOW_SHARE_MAX


def missing_for(asked: Asked, book: Sequence[Entry]) -> tuple[Missing, ...]:
    """Return every piece of evidence that a run asks for and the book does not have."""
    rows = sheet_of(points_of(asked.loaded), book)
    found: list[Missing] = []
    for party, standing in asked.standings.each:
        if standing is Standing.SHADOW:
            found += _for_shadow(asked, party, book)
        elif standing is Standing.REAL and party == FLOOR:
            found += _for_points(asked, party, rows)
        elif standing is Standing.REAL:
            found += _for_real(asked, party, book, rows)
    return tuple(dict.fromkeys(found))


def unchecked_points(asked: Asked, book: Sequence[Entry]) -> tuple[str, ...]:
    """Return the points that keep the real parties of a run out of automatic mode."""
    rows = sheet_of(points_of(asked.loaded), book)
    return unchecked(rows, asked.standings.those(Standing.REAL))


def run_body(asked: Asked, **more: Any) -> dict[str, Any]:
    """Return the body of the entry that a run leaves; `more` is how it ended."""
    caps = asked.caps
    return {
        "sequence": asked.loaded.plan.name,
        "plan": asked.loaded.plan.digest,
        "files": dict(asked.loaded.files),
        "standings": dict(asked.standings.to_data()),
        "mode": str(asked.mode),
        "torque_nm_max": caps.torque_nm,
        "speed_share_max": caps.speed_share,
        **more,
    }


def _for_shadow(asked: Asked, party: str, book: Sequence[Entry]) -> Iterator[Missing]:
    if not _runs(asked, book, party, Standing.SIMULATED):
        how = f"run {asked.path} with everything simulated and --book FOLDER to its end"
        yield Missing(party, "no simulated run of these files is complete", how)


def _for_real(
    asked: Asked, party: str, book: Sequence[Entry], rows: Sequence[Row]
) -> Iterator[Missing]:
    if asked.standings.stands(FLOOR) is not Standing.REAL:
        how = f"add --party {FLOOR}=real: a simulated floor sees nobody step in"
        yield Missing(party, "the floor is not real", how)
    yield from _of_acceptance(asked, party, book)
    shadows = [
        one
        for one in _runs(asked, book, party, Standing.SHADOW)
        if _was_heard(one.body["compared"]["parties"].get(party, {}))
    ]
    if not shadows:
        how = f"run {asked.path} with --party {party}=shadow to its end, the arm there and held"
        what = "no run in shadow of these files was complete and sound"
        yield Missing(party, what + _resumed(asked, book, party, Standing.SHADOW), how)
    for row in rows:
        if row.point.party == FLOOR and row.result != "checked":
            how = f"commission points {asked.path} --party {FLOOR}"
            yield Missing(FLOOR, f"{row.point.tag} not seen {', '.join(row.missing)}", how)
    yield from _for_points(asked, party, rows)
    yield from _of_degree(asked, party, book)


def _for_points(asked: Asked, party: str, rows: Sequence[Row]) -> Iterator[Missing]:
    """Yield the points that keep a party out of automatic mode, by name."""
    if asked.mode is not Mode.AUTOMATIC:
        return
    for row in rows:
        if row.point.party == party and row.result != "checked":
            how = f"commission points {asked.path} --party {party}"
            if party != FLOOR:
                how += ", or run with --mode step"
            yield Missing(party, f"{row.point.tag} not seen {', '.join(row.missing)}", how)


def _of_acceptance(asked: Asked, party: str, book: Sequence[Entry]) -> Iterator[Missing]:
    how = f"commission arm {party} --attended, all of its lines"
    taken = [one for one in book if one.kind == ACCEPTANCE and one.body["party"] == party]
    # A look at one line alone takes nothing back, unless it failed.
    whole = [one for one in taken if is_whole(one.body) or one.body["failed"]]
    if not whole:
        yield Missing(party, "no acceptance of the real arm", how)
    elif whole[-1].body["failed"]:
        failed = ", ".join(whole[-1].body["failed"])
        yield Missing(party, f"the last acceptance ({whole[-1].reference}) failed at {failed}", how)
    elif not whole[-1].body["passed"]:
        left = [one["code"] for one in whole[-1].body["seen"] if one["result"] != "passed"]
        yield Missing(party, f"the last acceptance left out {', '.join(left)}", how)
    elif whole[-1].body["simulated"] is not False:
        yield Missing(party, "what was accepted calls itself simulated", how)


def is_whole(report: dict[str, Any]) -> bool:
    """Tell whether a report looks at every line that there is."""
    return [one["code"] for one in report["seen"]] == [one.code for one in LINES]


def _of_degree(asked: Asked, party: str, book: Sequence[Entry]) -> Iterator[Missing]:
    """Yield what must come before this degree: without torque, then slow, then as written."""
    done = [one.body for one in _runs(asked, book, party, Standing.REAL)]
    bare = f"run {asked.path} with --mode step --cap-torque 0 --cap-speed {SLOW_SHARE_MAX:g}"
    if is_no_torque(asked.caps):
        if not is_slow(asked.caps):
            yield Missing(party, "a run without torque must be slow", bare)
        return
    if not any(one["torque_nm_max"] == 0.0 for one in done):
        what = "no run of the real arm without torque is complete"
        yield Missing(party, what + _resumed(asked, book, party, Standing.REAL), bare)
    slow = [
        one
        for one in done
        if one["torque_nm_max"] != 0.0 and one["speed_share_max"] <= SLOW_SHARE_MAX
    ]
    if not is_slow(asked.caps) and not slow:
        how = f"run {asked.path} with --cap-speed {SLOW_SHARE_MAX:g}, or a cap on torque beside it"
        what = "no slow run of the real arm is complete"
        yield Missing(party, what + _resumed(asked, book, party, Standing.REAL), how)


def _resumed(asked: Asked, book: Sequence[Entry], party: str, standing: Standing) -> str:
    """Return why the last complete run of this standing does not count, if it is for a break."""
    runs = [one for one in _complete(asked, book, party, standing) if one.body.get("resumed")]
    if not runs:
        return ""
    return f" (run {runs[-1].body['run']} was resumed after a break and does not count, CM19)"


def _runs(asked: Asked, book: Sequence[Entry], party: str, standing: Standing) -> tuple[Entry, ...]:
    """Return the runs that count for a party's next degree (CM19)."""
    return tuple(
        one
        for one in _complete(asked, book, party, standing)
        if standing is Standing.SIMULATED or not one.body.get("resumed")
    )


def _complete(
    asked: Asked, book: Sequence[Entry], party: str, standing: Standing
) -> tuple[Entry, ...]:
    """Return the complete runs of these files in which a party stood so."""
    return tuple(
        one
        for one in book
        if one.kind == RUN
        and one.body["plan"] == asked.loaded.plan.digest
        and one.body["phase"] == "complete"
        and one.body["standings"].get(party) == standing
    )


def _was_heard(party: dict[str, Any]) -> bool:
    """Tell whether a party in shadow was there all the time, was real, and kept still."""
    return (
        bool(party.get("heard_throughout"))
        and not party["called_simulated"]
        and not party["moved_untold"]
    )
