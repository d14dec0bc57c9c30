"""Print one line for each seed of what a day and a case of it come to, to the last byte.

``PYTHONHASHSEED=1 python -m tests.support.hash_seeds FILE FIRST COUNT``: whatever hangs on the
order of a set, or on a hash, differs under another `PYTHONHASHSEED`.
"""

import sys
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

from coordinator.campaign.batch import Day, Item, found_again
from coordinator.campaign.case_file import case_text
from coordinator.campaign.planner import Planner
from coordinator.campaign.survey import survey
from coordinator.rehearse.stage import maker_of
from coordinator.sequence import load


def lines(path: Path, seeds: range) -> Iterator[str]:
    """Yield for each seed: its day, its case as a file, every delivery, and how it ended."""
    maker = maker_of(path, load(path))
    for seed in seeds:
        day = survey(maker.opening()(seed, traced=True))
        case = Planner(maker.words(), seed).plan(seed, seed, day)
        found, outcome = found_again(maker, Day(seed), Item(seed, case))
        parts = (repr(day), case_text(found, maker.words()), repr(outcome))
        digests = (sha256(part.encode()).hexdigest()[:16] for part in parts)
        yield f"{seed} {' '.join(digests)} {outcome.trace_sha256} {outcome.index} {outcome.ended}"


def main(words: list[str]) -> None:
    """Print every line as soon as it is known."""
    path, first, count = Path(words[0]), int(words[1]), int(words[2])
    for line in lines(path, range(first, first + count)):
        print(line, flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
