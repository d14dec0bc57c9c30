"""Judge the paired spans of a run from the messages on the bus alone.

Units: ``*_us`` whole microseconds of the run; ``*_nm`` newton metre.
Invariants: independence, nothing here asks the coordinator what it believes, nor reads the plan.
"""

from collections import defaultdict
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

Delivery = dict[str, Any]
BUS_US = 50_000
"""A message that was under way when something happened may still arrive."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """What the files promise about a span."""

    window_us: int
    balance_nm: float
    stop_us: int
    torque_nm_most: float
    deaf_us: int
    """How long a side may work on by itself once no word of the other, or to it, arrives."""


@dataclass(slots=True)
class Pull:
    """One command of one side inside a span, as the bus saw it."""

    side: str
    command: int
    meeting: str
    bolt: int
    done_us: int = 0
    """When it was asked for."""
    release_us: int = -1
    """The start time that its release carried."""
    started_us: int = -1
    ended_us: int = -1
    """When the coordinator was told how it ended."""
    rest_us: int = -1
    """When the side itself came to its end, by its own clock."""
    ending: str = ""
    torque_nm: float = 0.0
    """Highest torque that was told."""
    angle_rad: float = 0.0
    peaks: list[tuple[int, float]] = field(default_factory=list)


class SpanJudge:
    """Reads the deliveries of one run."""

    def __init__(self, deliveries: list[Delivery], action: str, follows: str = "") -> None:
        """Take the deliveries in.

        Args:
            deliveries: In the order of their times.
            action: What both sides begin together.
            follows: What follows it inside the span, empty for nothing.
        """
        self.pulls: dict[tuple[str, int], Pull] = {}
        self.later: list[tuple[int, str]] = []
        """(when, side) of each delivery of what follows."""
        for one in deliveries:
            kind, data = one["type"].rpartition(".")[2], one["data"]
            if kind == "do" and data["action"] == action and data["barrier"] is not None:
                self._asked(one)
            elif kind == "do" and data["action"] == follows:
                self.later.append((one["at_us"], one["subject"]))
            elif pull := self.pulls.get((one["subject"], data.get("command", 0))):
                self._told(pull, kind, one)

    def meetings(self) -> list[list[Pull]]:
        """Return the pulls by meeting and epoch, in the order in which they were asked for."""
        found: dict[str, list[Pull]] = defaultdict(list)
        for pull in self.pulls.values():
            found[pull.meeting].append(pull)
        return list(found.values())

    def started(self) -> list[list[Pull]]:
        """Return the meetings in which at least one side began."""
        return [pair for pair in self.meetings() if any(one.started_us >= 0 for one in pair)]

    def findings(self, bounds: Bounds) -> list[str]:
        """Return everything that was not as promised."""
        found: list[str] = []
        for pair in self.started():
            found += _alone(pair, bounds)
            found += _one_fate(pair, bounds)
            found += _balance(pair, bounds)
            found += self._went_on(pair)
        for pull in self.pulls.values():
            if pull.torque_nm > bounds.torque_nm_most:
                found.append(f"{pull.side} pulled bolt {pull.bolt} to {pull.torque_nm:.0f} N·m")
        return found + _overlaps(self.started())

    def repeats(self) -> list[Pull]:
        """Return the finished pulls of bolts that an earlier pull had finished already."""
        done: set[int] = set()
        found = []
        for pull in sorted(self.pulls.values(), key=lambda one: one.ended_us):
            if pull.ending == "finished":
                if pull.bolt in done:
                    found.append(pull)
                done.add(pull.bolt)
        return found

    def _asked(self, one: Delivery) -> None:
        side, data = one["subject"], one["data"]
        key = (side, data["command"])
        if key not in self.pulls:
            self.pulls[key] = Pull(side, key[1], data["barrier"], data["parameters"]["bolt"])
            self.pulls[key].done_us = one["at_us"]

    def _told(self, pull: Pull, kind: str, one: Delivery) -> None:
        data = one["data"]
        if kind == "release":
            pull.release_us = data["start_us"]
        elif kind == "started":
            pull.started_us = data["started_us"]
        elif kind == "progressed" and data["torque_nm"] is not None:
            pull.torque_nm = max(pull.torque_nm, data["torque_nm"])
            pull.peaks.append((one["at_us"], pull.torque_nm))
        elif kind in ("finished", "faulted", "interrupted") and not pull.ending:
            pull.ending, pull.ended_us, pull.rest_us = kind, one["at_us"], one["sent_us"]
            if kind == "interrupted" and data.get("trace"):
                # What a cut cable kept back is told late; the tool's own record has the moment.
                worked_us = round(data["trace"]["time_s"][-1] * 1e6)
                pull.rest_us = min(pull.rest_us, pull.started_us + worked_us)
            felt = data.get("results") or data.get("evidence") or {}
            pull.torque_nm = max(pull.torque_nm, felt.get("torque_nm", 0.0))
            pull.angle_rad = felt.get("angle_rad", 0.0)

    def _went_on(self, pair: list[Pull]) -> list[str]:
        """Nobody goes on inside a span in which one side's pull ended badly."""
        bad = [one.ended_us for one in pair if one.ending in ("faulted", "interrupted")]
        if not bad or len(pair) < 2:
            return []
        again = [one.done_us for other in self.meetings() for one in other]
        until_us = min((at for at in again if at > min(bad)), default=1 << 62)
        return [
            f"{side} went on in the span after the other's pull had ended badly"
            for at_us, side in self.later
            if min(bad) + BUS_US < at_us < until_us
        ]


def _alone(pair: list[Pull], bounds: Bounds) -> list[str]:
    """A side that began must have a partner that began with it, or be stopped in time."""
    began = [one for one in pair if one.started_us >= 0]
    if len({one.release_us for one in began if one.release_us >= 0}) > 1:
        return [f"two start times for {pair[0].meeting}"]
    starts = [one.started_us for one in began]
    if len(began) == 2 and max(starts) - min(starts) <= bounds.window_us:
        return []
    limit_us = bounds.deaf_us + bounds.stop_us
    return [
        f"{one.side} pulled alone for {(one.rest_us - one.started_us) / 1e6:.1f} s"
        for one in began
        if one.rest_us < 0 or one.rest_us - one.started_us > limit_us
    ]


def _one_fate(pair: list[Pull], bounds: Bounds) -> list[str]:
    """Once one side has ended badly the other stands within the time promised."""
    found = []
    for one, other in ((pair[0], pair[-1]), (pair[-1], pair[0])):
        if one.ending not in ("faulted", "interrupted") or other.started_us < 0 or one is other:
            continue
        if other.rest_us < 0:
            found.append(f"{other.side} never ended after {one.side} was {one.ending}")
        elif other.rest_us > max(one.rest_us, other.started_us) + bounds.deaf_us + bounds.stop_us:
            late_s = (other.rest_us - one.rest_us) / 1e6
            found.append(f"{other.side} stood {late_s:.1f} s after {one.side} was {one.ending}")
    return found


def _balance(pair: list[Pull], bounds: Bounds) -> list[str]:
    """The torques told stay inside the band while both pull, or both stand in time."""
    if len(pair) < 2:
        return []
    told = sorted((at, place, nm) for place, one in enumerate(pair) for at, nm in one.peaks)
    peaks = [0.0, 0.0]
    end_us = min((one.ended_us for one in pair if one.ended_us >= 0), default=1 << 62)
    for at_us, place, torque_nm in told:
        peaks[place] = torque_nm
        if at_us >= end_us or abs(peaks[0] - peaks[1]) <= bounds.balance_nm + 1.0:
            continue  # Told in whole newton metres, judged to one.
        return [
            f"{one.side} pulled on {(one.rest_us - at_us) / 1e6:.1f} s after the band was left"
            for one in pair
            if one.rest_us < 0 or one.rest_us - at_us > bounds.stop_us + BUS_US
        ]
    return []


def _overlaps(meetings: list[list[Pull]]) -> list[str]:
    """No meeting begins before both sides of the one before it have ended."""
    found = []
    for before, after in pairwise(meetings):
        starts_us = min(one.started_us for one in after if one.started_us >= 0)
        found += [
            f"{after[0].meeting} began while {one.side} was still pulling"
            for one in before
            if one.started_us >= 0 and not 0 <= one.rest_us <= starts_us
        ]
    return found
