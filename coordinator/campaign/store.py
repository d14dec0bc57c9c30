"""Keep a campaign in a folder, so that it can be stopped, taken up again and joined with others.

`campaign.json` says what it is, `results.jsonl` has a line for each case, `failures/` the cases
that broke a promise, each made small.

Keeps: K1, a line is whole or not there: what a crash cut off is dropped when the file is read;
K2, results of another sequence, program or seed are never mixed in.
"""

import json
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from coordinator.campaign.batch import Result
from coordinator.campaign.judge import Violation
from coordinator.campaign.running import Effect, Outcome, Place

HEAD = "campaign.json"
RESULTS = "results.jsonl"
FAILURES = "failures"


class OtherCampaign(Exception):  # noqa: N818 (it says what the folder holds)
    """The folder holds a campaign of something else."""


@dataclass(frozen=True, slots=True)
class Head:
    """What a campaign is about."""

    sequence: str
    digest: str
    """SHA-256 over the files of the sequence."""
    program: str
    """SHA-256 over the program."""
    seed: int


@dataclass(frozen=True, slots=True)
class Row:
    """A case that was run, as it is kept."""

    number: int
    seed: int
    """Of the campaign that planned it."""
    day: int
    causes: int
    canary: str
    is_whole: bool
    took_s: float
    outcome: Outcome


class Folder:
    """The folder of one campaign."""

    def __init__(self, path: Path) -> None:
        """Name it; nothing is read or written yet."""
        self.path = path
        self.failures = path / FAILURES

    def begin(self, head: Head) -> list[Row]:
        """Open the campaign and return what is done already.

        Raises:
            OtherCampaign: the folder holds a campaign of another sequence, program or seed.
        """
        place = self.path / HEAD
        if place.exists():
            known = self.head()
            for name, ours in asdict(head).items():
                theirs = getattr(known, name)
                if theirs != ours:
                    raise OtherCampaign(
                        f"{place}: {name} is '{theirs}', this campaign has '{ours}'; "
                        "name another folder with --out"
                    )
        else:
            self.failures.mkdir(parents=True, exist_ok=True)
            place.write_text(json.dumps(asdict(head), indent=1) + "\n", encoding="utf-8")
        return list(self.rows())

    def head(self) -> Head:
        """Return what the campaign is about.

        Raises:
            OtherCampaign: the folder holds none.
        """
        place = self.path / HEAD
        try:
            return Head(**json.loads(place.read_text(encoding="utf-8")))
        except (OSError, TypeError, ValueError) as error:
            raise OtherCampaign(f"{place}: holds no campaign ({error}); name its folder") from None

    def add(self, rows: Iterable[Row]) -> None:
        """Keep more results."""
        text = "".join(json.dumps(_plain(row), separators=(",", ":")) + "\n" for row in rows)
        with (self.path / RESULTS).open("a", encoding="utf-8") as file:
            file.write(text)

    def rows(self) -> Iterator[Row]:
        """Return every result kept, in the order of their coming."""
        place = self.path / RESULTS
        if not place.exists():
            return
        with place.open(encoding="utf-8") as file:
            for line in file:
                if line.endswith("\n"):
                    yield _row(json.loads(line))

    def repair(self) -> None:
        """Drop a last line that a crash cut off, so that the next one begins on its own."""
        place = self.path / RESULTS
        if place.exists() and not (text := place.read_bytes()).endswith(b"\n"):
            place.write_bytes(text[: text.rfind(b"\n") + 1])


def to_row(result: Result, seed: int, day: int) -> Row:
    """Return what is kept of a result."""
    item = result.item
    return Row(
        item.number,
        seed,
        day,
        len(item.case.causes),
        item.canary,
        item.is_whole,
        round(result.took_s, 5),
        result.outcome,
    )


def _plain(row: Row) -> dict[str, Any]:
    return asdict(row)


def _row(content: dict[str, Any]) -> Row:
    outcome = content["outcome"]
    outcome["violations"] = tuple(Violation(**one) for one in outcome["violations"])
    outcome["effects"] = tuple(
        Effect(**{**one, "place": Place(**one["place"])}) for one in outcome["effects"]
    )
    return Row(**{**content, "outcome": Outcome(**outcome)})
