"""Compare what the simulated parties do with what is heard of the real ones beside them.

Units: ``*_us`` microseconds of the cell's clock; ``*_s`` seconds; results as their names say.
Invariants: LV10, a party that was not heard has shown nothing: silence is told, never taken for
agreement.
"""

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from coordinator.live.standing import Standing, Standings
from coordinator.live.translate import numeric_results
from coordinator.wire.messages import (
    Accepted,
    Faulted,
    Finished,
    FloorSignals,
    Interrupted,
    Message,
    PartyState,
    Progressed,
    Started,
)
from coordinator.wire.topics import FLOOR

SETTLE_US = 2_000_000
"""Chosen: a change reaches both within two periods of the floor; a shorter difference is none."""
RESULT_SHARE = 0.25
"""Chosen: torque from a nut factor scatters by up to this share (common practice, no source)."""
SILENT_S_MAX = 4.0
"""As the core has it: a party without a heartbeat for this long counts as lost."""
LISTED_MAX = 200
"""Chosen: more than anybody reads; the count goes on."""
AT_WORK = ("armed", "running", "holding")
Words = str | bool | float | None
_Key = tuple[str, int, bool]
"""Party, command, and whether it was seen rather than predicted."""
_Results = tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class Difference:
    """For a while, or at one end of a command, the two were not the same."""

    party: str
    what: str
    predicted: Words
    seen: Words
    begin_s: float
    """Since the first word of anybody."""
    for_s: float = 0.0


@dataclass(slots=True)
class _Heard:
    """What was heard of one party."""

    words: int = 0
    last_us: int | None = None
    silent_us_max: int = 0
    called_simulated: bool = False
    moved: list[str] = field(default_factory=list)


@dataclass(slots=True)
class _End:
    """How a command ended."""

    outcome: str
    results: Mapping[str, float]
    took_s: float | None


class Comparison:
    """Listens to both; decides nothing."""

    def __init__(self, standings: Standings) -> None:
        self._standings = standings
        listened = [name for name, one in standings.each if one is not Standing.SIMULATED]
        self._heard = {name: _Heard() for name in listened}
        self._begin_us: int | None = None
        self._values: dict[tuple[str, str, bool], Words] = {}
        self._open: dict[tuple[str, str], tuple[int, Words, Words]] = {}
        self._began: dict[_Key, int] = {}
        self._ends: dict[_Key, _End] = {}
        self._found: list[Difference] = []
        self.differences = 0
        """How many there were in all."""
        self.compared = 0
        """Commands of which both ends are known."""

    def predicted(self, message: Message, now_us: int) -> None:
        """Take in what a simulated party says."""
        party = self._standings.party_of(message.source)
        if party in self._heard:
            self._begin(now_us)
            self._take(party, message, now_us, is_seen=False)

    def seen(self, message: Message, now_us: int) -> None:
        """Take in what a real party says."""
        party = self._standings.party_of(message.source)
        heard = self._heard.get(party)
        if heard is None or message.source != message.subject:
            return
        begin_us = self._begin(now_us)
        silent_us = now_us - (begin_us if heard.last_us is None else heard.last_us)
        heard.silent_us_max = max(heard.silent_us_max, silent_us)
        heard.words, heard.last_us = heard.words + 1, now_us
        self._look_at(heard, message, now_us)
        self._take(party, message, now_us, is_seen=True)

    def report(self, now_us: int) -> dict[str, Any]:
        """Return everything that was found, for a file; empty where nobody was listened to."""
        if not self._heard:
            return {}
        begin_us = self._begin(now_us)
        for key in list(self._open):
            self._close(key, now_us)
        return {
            "parties": {name: self._of_party(name, now_us) for name in self._heard},
            "for_s": round((now_us - begin_us) / 1e6, 1),
            "commands_compared": self.compared,
            "differences": self.differences,
            "listed": [asdict(one) for one in self._found],
        }

    def _of_party(self, name: str, now_us: int) -> dict[str, Any]:
        heard = self._heard[name]
        since_us = self._begin(now_us) if heard.last_us is None else heard.last_us
        silent_s = max(heard.silent_us_max, now_us - since_us) / 1e6
        return {
            "standing": str(self._standings.stands(name)),
            "words": heard.words,
            "silent_s_max": round(silent_s, 2),
            "heard_throughout": heard.words > 0 and silent_s <= SILENT_S_MAX,
            "called_simulated": heard.called_simulated,
            "moved_untold": heard.moved,
        }

    def _begin(self, now_us: int) -> int:
        if self._begin_us is None:
            self._begin_us = now_us
        return self._begin_us

    def _look_at(self, heard: _Heard, message: Message, now_us: int) -> None:
        """Note what a party in shadow must not do: nobody has told it to."""
        body = message.body
        is_shadow = self._standings.stands(message.source) is Standing.SHADOW
        if isinstance(body, PartyState):
            if not body.online:
                return
            heard.called_simulated |= body.simulated
            is_at_work = body.state in AT_WORK
        else:
            is_at_work = isinstance(body, Accepted | Started | Progressed)
        if is_shadow and is_at_work and len(heard.moved) < LISTED_MAX:
            at_s = (now_us - self._begin(now_us)) / 1e6
            heard.moved.append(f"{at_s:.1f} s: {message.source} is at work")

    def _take(self, party: str, message: Message, now_us: int, *, is_seen: bool) -> None:
        match message.body:
            case FloorSignals(signals) if party == FLOOR:
                for name, value in signals.items():
                    self._set(party, f"signal {name}", value, now_us, is_seen=is_seen)
            case PartyState() as state if state.online and party != FLOOR:
                self._set(party, "tool", state.tool, now_us, is_seen=is_seen)
            case Accepted(command) | Started(command, _):
                self._began[party, command, is_seen] = now_us
            case Finished(command, results):
                self._end((party, command, is_seen), "finished", numeric_results(results), now_us)
            case Faulted(command, fault, results):
                self._end((party, command, is_seen), fault, numeric_results(results), now_us)
            case Interrupted(command):
                self._end((party, command, is_seen), "interrupted", (), now_us)

    def _set(self, party: str, what: str, value: Words, now_us: int, *, is_seen: bool) -> None:
        self._values[party, what, is_seen] = value
        keys = (party, what, False), (party, what, True)
        if any(key not in self._values for key in keys):
            return
        expected, found = (self._values[key] for key in keys)
        known = self._open.get((party, what))
        if known is not None and known[1:] != (expected, found):
            self._close((party, what), now_us)
        if expected != found:
            self._open.setdefault((party, what), (now_us, expected, found))

    def _close(self, key: tuple[str, str], now_us: int) -> None:
        since_us, expected, found = self._open.pop(key)
        if now_us - since_us >= SETTLE_US:
            begin_s = (since_us - self._begin(now_us)) / 1e6
            for_s = (now_us - since_us) / 1e6
            self._add(Difference(*key, expected, found, round(begin_s, 1), round(for_s, 1)))

    def _end(self, key: _Key, outcome: str, results: _Results, now_us: int) -> None:
        party, command, is_seen = key
        if self._standings.stands(party) is not Standing.REAL:
            return  # Only what is real has been given the same command.
        began_us = self._began.pop(key, None)
        took_s = None if began_us is None else (now_us - began_us) / 1e6
        mine, other_key = _End(outcome, dict(results), took_s), (party, command, not is_seen)
        other = self._ends.pop(other_key, None)
        if other is None:
            self._ends[key] = mine
            return
        self.compared += 1
        predicted, seen = (other, mine) if is_seen else (mine, other)
        at_s = round((now_us - self._begin(now_us)) / 1e6, 1)
        for found in _differences(party, f"command {command}", predicted, seen):
            self._add(replace(found, begin_s=at_s))

    def _add(self, found: Difference) -> None:
        self.differences += 1
        if len(self._found) < LISTED_MAX:
            self._found.append(found)


def _differences(party: str, about: str, predicted: _End, seen: _End) -> Iterator[Difference]:
    """Yield in what the two ends of one command were not the same."""
    if predicted.outcome != seen.outcome:
        yield Difference(party, f"{about} ended", predicted.outcome, seen.outcome, 0.0)
        return
    pairs = {name: (value, seen.results.get(name)) for name, value in predicted.results.items()}
    if predicted.took_s is not None:
        pairs["took_s"] = predicted.took_s, seen.took_s
    for name, (expected, found) in pairs.items():
        if found is None or abs(found - expected) > RESULT_SHARE * abs(expected):
            yield Difference(party, f"{about} {name}", expected, found, 0.0)
