"""Keep a campaign in a folder, so that it can be stopped, taken up again and joined with others.

`campaign.json` says what it is, `results.jsonl` has a line for each case, `failures/` the cases
that broke a promise, each made small. While a campaign runs it holds `lock`.

Invariants: CA6, a line of results is whole or not there: what a crash cut off is dropped when the
file is read; CA7, results of another sequence, program or seed are never mixed in; CA8, a case
counts once.
"""

import json
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from fcntl import LOCK_EX, LOCK_NB, flock
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from coordinator.campaign.batch import Result
from coordinator.campaign.running import Outcome

HEAD = "campaign.json"
RESULTS = "results.jsonl"
FAILURES = "failures"
LOCK = "lock"
DAY_SEEDS = 1_000
"""The seed of a day is that of its campaign times so many, and the number of the day."""
_CASE = re.compile(r"^case: case_(\d+)$", re.MULTILINE)
_SEED = re.compile(r"^seed: (\d+)$", re.MULTILINE)


class OtherCampaign(Exception):  # noqa: N818 (it says what the folder holds)
    """The folder holds a campaign of something else, or one that is running."""


class SpoiltLine(Exception):  # noqa: N818 (it says what was found)
    """A line of a campaign's results is none."""


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


_HEADS = TypeAdapter(Head)
_ROWS = TypeAdapter(Row)


@dataclass(frozen=True, slots=True)
class Kept:
    """A failing case that has a file of its own."""

    seed: int
    """Of the campaign that planned it."""
    number: int
    place: Path


class Folder:
    """The folder of one campaign."""

    def __init__(self, path: Path) -> None:
        """Name it; nothing is read or written yet."""
        self.path = path
        self.failures = path / FAILURES

    def check(self, head: Head) -> None:
        """Judge whether a campaign can go on here, before anything is written.

        Raises:
            OtherCampaign: the folder holds a campaign of another sequence, program or seed.
        """
        place = self.path / HEAD
        if not place.exists():
            return
        known = self.head()
        for name, ours in asdict(head).items():
            theirs = getattr(known, name)
            if theirs != ours:
                raise OtherCampaign(
                    f"{place}: {name} is '{theirs}', this campaign has '{ours}'; "
                    "name another folder with --out"
                )

    @contextmanager
    def locked(self) -> Iterator[None]:
        """Keep every other campaign out; whatever becomes of this process, the lock goes with it.

        Raises:
            OtherCampaign: one is running here.
        """
        self.path.mkdir(parents=True, exist_ok=True)
        with (self.path / LOCK).open("a", encoding="utf-8") as file:
            try:
                flock(file, LOCK_EX | LOCK_NB)
            except BlockingIOError:
                raise OtherCampaign(
                    f"{self.path}: another campaign is running in this folder; wait until it has "
                    "ended, or name another folder with --out and join the two with --merge"
                ) from None
            yield

    def begin(self, head: Head) -> list[Row]:
        """Open the campaign and return what is done already.

        Raises:
            OtherCampaign: the folder holds a campaign of another sequence, program or seed.
            SpoiltLine: what is kept cannot be read.
        """
        self.check(head)
        place = self.path / HEAD
        self.failures.mkdir(parents=True, exist_ok=True)
        if not place.exists():
            place.write_text(json.dumps(asdict(head), indent=1) + "\n", encoding="utf-8")
        self.repair()
        return list(self.rows())

    def head(self) -> Head:
        """Return what the campaign is about.

        Raises:
            OtherCampaign: the folder holds none.
        """
        place = self.path / HEAD
        try:
            return _HEADS.validate_json(place.read_bytes())
        except OSError:
            what = "is not there" if not place.exists() else "cannot be read"
            raise OtherCampaign(f"{place}: {what}; name the folder of a campaign") from None
        except ValidationError as error:
            raise OtherCampaign(
                f"{place}: holds no campaign ({_wrong(error)}); name the folder of one"
            ) from None

    def add(self, rows: Iterable[Row]) -> None:
        """Keep more results."""
        text = "".join(json.dumps(asdict(row), separators=(",", ":")) + "\n" for row in rows)
        with (self.path / RESULTS).open("a", encoding="utf-8") as file:
            file.write(text)

    def rows(self) -> Iterator[Row]:
        """Return every result kept, each case once, in the order of their coming.

        Raises:
            SpoiltLine: A line is no result.
        """
        place = self.path / RESULTS
        if not place.exists():
            return
        known: set[tuple[int, int]] = set()
        with place.open("rb") as file:
            for number, line in enumerate(file, 1):
                if not line.endswith(b"\n"):
                    return
                try:
                    row = _ROWS.validate_json(line)
                except ValidationError as error:
                    raise SpoiltLine(
                        f"{place}:{number}:{_column(line)}: the line is no result of a case "
                        f"({_wrong(error)}), must be as the campaign wrote it; delete the line, "
                        "its case is then run again"
                    ) from None
                if (row.seed, row.number) not in known:
                    known.add((row.seed, row.number))
                    yield row

    def repair(self) -> None:
        """Drop a last line that a crash cut off, so that the next one begins on its own."""
        place = self.path / RESULTS
        if place.exists() and not (text := place.read_bytes()).endswith(b"\n"):
            place.write_bytes(text[: text.rfind(b"\n") + 1])

    def kept(self) -> list[Kept]:
        """Return the failing cases that have a file of their own, by name."""
        found = []
        for place in sorted(self.failures.glob("*.yaml")):
            text = place.read_text(encoding="utf-8", errors="replace")
            case, seed = _CASE.search(text), _SEED.search(text)
            if case is not None and seed is not None:
                found.append(Kept(int(seed[1]) // DAY_SEEDS, int(case[1]), place))
        return found

    def take_failures(self, other: "Folder") -> None:
        """Take in the files of the failing cases of another campaign."""
        known = {(one.seed, one.number) for one in self.kept()}
        for one in other.kept():
            if (one.seed, one.number) not in known:
                text = one.place.read_text(encoding="utf-8")
                self.free_place(one.place.stem, one.seed).write_text(text, encoding="utf-8")

    def free_place(self, stem: str, seed: int) -> Path:
        """Return where a failing case is kept; those of other seeds may have the same name."""
        place = self.failures / f"{stem}.yaml"
        ours = [one.seed for one in self.kept() if one.place == place]
        is_free = not place.exists() or ours == [seed]
        return place if is_free else self.failures / f"{stem}_seed_{seed}.yaml"


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


def _wrong(error: ValidationError) -> str:
    """Say what is wrong with a document, in words of ours."""
    first = error.errors(include_url=False)[0]
    if first["type"] == "json_invalid":
        return "it is no JSON"
    where = ".".join(str(part) for part in first["loc"])
    if not where:
        return "it is no table of names and values"
    return f"'{where}' is missing" if first["type"] == "missing" else f"'{where}' is wrong"


def _column(line: bytes) -> int:
    """Return where a line stops being JSON; 1 where it is."""
    try:
        json.loads(line)
    except UnicodeDecodeError as error:
        return error.start + 1
    except json.JSONDecodeError as error:
        return error.colno
    return 1
