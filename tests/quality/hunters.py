"""The hunters, each run in a copy of the program in which a defect may have been planted.

``python -m tests.quality.hunters proof FILE ...`` explores sequences with one cause and stops at
the first broken property; ``python -m tests.quality.hunters campaign FILE CASES [KIND ...]`` runs
generated cases until one breaks a promise. Each prints one line of JSON.

Units: ``seconds`` of the processor, whatever else the machine does.
"""

import json
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

from coordinator.campaign.batch import Day, Item, run_batch, run_found, run_shrink, run_survey
from coordinator.campaign.planner import Planner
from coordinator.campaign.shrink import Shrinking
from coordinator.campaign.survey import Survey
from coordinator.prove import Limits, explore
from coordinator.prove.graph import Expander
from coordinator.prove.store import Graph, Words
from coordinator.rehearse.stage import StageMaker, maker_of
from coordinator.sequence import Loaded, SequenceError, load

CAUSES = 1
SEEDS = range(5, 100)
SIZES = (20, 40, 80, 160)
"""Cases of one day, run together; the next days follow with as many."""
SEED = 5


class _Broken(Exception):  # noqa: N818 (it is what the proof looks for, not an error)
    """A property does not hold."""


def proof(paths: list[Path]) -> dict[str, Any]:
    """Explore sequences one after the other, to the first property that does not hold."""

    def stop(_graph: Graph, _number: int, name: str, _text: str, _words: Words) -> None:
        raise _Broken(name)

    # The walk goes on for a shortest way to what is wrong; here it is enough that something is.
    Expander._break = staticmethod(stop)  # type: ignore[assignment, method-assign]  # stops it all
    for path in paths:
        try:
            loaded = load(path)
        except SequenceError as error:
            return {"found": error.diagnostics[0].code, "file": path.stem}
        wrong = _wrong(loaded)
        if wrong:
            return {"found": wrong, "file": path.stem}
    return {"found": ""}


def _wrong(loaded: Loaded) -> str:
    try:
        found = explore(loaded.plan, Limits(CAUSES), properties=loaded.properties)
    except _Broken as broken:
        return str(broken)
    except Exception as error:
        return f"core_sound: {type(error).__name__}"
    # What a whole walk alone shows: that there is a way out from everywhere.
    return found.violations[0].property if found.violations else ""


def campaign(path: Path, cases_max: int, kinds: tuple[str, ...]) -> dict[str, Any]:
    """Run generated cases until one breaks a promise, and shrink it."""
    try:
        maker = maker_of(path, load(path))
    except SequenceError as error:
        return {"found": error.diagnostics[0].code, "by": "rule", "cases": 0}
    words = maker.words()
    if kinds:
        words = replace(words, kinds=tuple(words.kind(name) for name in kinds))
    # Without people who act out of turn, as everything in the table was hunted.
    planner, number = Planner(words, SEED, crowd_share=0.0), 0
    for seed in SEEDS:
        survey = run_survey(maker, Day(seed))
        if survey.outcome.violations:
            signature = survey.outcome.signature
            return {"found": signature, "by": "clean day", "cases": number}
        for size in SIZES:
            size = min(size, cases_max - number)
            found = _run(maker, planner, Day(seed), survey, range(number, number + size))
            number += size
            if found:
                return found
            if number >= cases_max:
                return {"found": "", "by": "", "cases": number}
    return {"found": "", "by": "", "cases": number}


def _run(
    maker: StageMaker, planner: Planner, day: Day, survey: Survey, numbers: range
) -> dict[str, Any]:
    items = [Item(number, planner.plan(number, day.seed, survey)) for number in numbers]
    broken = [one for one in run_batch(maker, day, items) if one.outcome.violations]
    if not broken:
        return {}
    found_s = time.process_time()
    first = min(broken, key=lambda one: one.item.number)
    state = Shrinking(first.item.case, first.outcome.signature)
    while not state.is_done:
        state = run_shrink(maker, day, first.item, state)
    small = run_found(maker, day, first.item, state)
    return {
        "found": first.outcome.signature,
        "by": "campaign",
        "cases": numbers.stop,
        "seconds": found_s,
        "causes_before": small.causes_before,
        "causes": len(small.case.causes),
        "shrunk_s": round(time.process_time() - found_s, 1),
        "again": small.outcome.signature == first.outcome.signature,
    }


def main(words: list[str]) -> None:
    """Hunt as asked and print what was found."""
    if words[0] == "proof":
        found = proof([Path(name) for name in words[1:]])
    else:
        found = campaign(Path(words[1]), int(words[2]), tuple(words[3:]))
    found["seconds"] = round(found.get("seconds", time.process_time()), 1)
    print(json.dumps(found))


if __name__ == "__main__":
    main(sys.argv[1:])
