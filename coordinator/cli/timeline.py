"""The verb `timeline`: the timeline of a run or rehearsal out of its journal, or two compared."""

import contextlib
from dataclasses import asdict
from pathlib import Path

from coordinator.cli.output import Exit, Output
from coordinator.live.hurry import hurried
from coordinator.operate.pinned import load_pinned, speed_of
from coordinator.records.journal import FILE_NAME, Journal, JournalFailed
from coordinator.records.replaying import replay_steps
from coordinator.timeline.build import Timeline, build, first_divergence
from coordinator.timeline.picture import to_page, to_svg


def show_timeline(output: Output, folder: Path, other: Path | None, target: Path | None) -> Exit:
    """Write a timeline as .svg or .html and tell who waited for whom."""
    if target is not None and target.suffix not in (".svg", ".html"):
        return output.refuse(f"{target}: ending must be .svg or .html; rename it")
    try:
        made = read_timeline(folder)
        second = None if other is None else read_timeline(other)
        if target is not None:
            text = to_page(made) if target.suffix == ".html" else to_svg(made)
            target.write_text(text, encoding="utf-8")
    except JournalFailed as error:
        return output.refuse(str(error))
    except OSError as error:
        return output.refuse(f"{target}: {error.strerror}; name another file")
    _tell(output, made)
    apart = None if second is None else first_divergence(made, second)
    if apart is not None:
        output.say(
            f"first difference: {apart.lane}, after {apart.at_us / 1e6:.1f} s: "
            f"{apart.first} against {apart.second}"
        )
    elif second is not None:
        output.say("both did the same things in the same order")
    output.document(
        ok=apart is None,
        end_us=made.end_us,
        waits_us=made.waits_us(),
        critical=[
            {"side": made.parties[one.lane], "kind": one.kind, "name": one.name,
             "begin_us": one.begin_us, "end_us": one.end_us}
            for one in made.critical
        ],
        divergence=None if apart is None else asdict(apart),
    )  # fmt: skip
    return Exit.GOOD if apart is None else Exit.FINDINGS


def _tell(output: Output, made: Timeline) -> None:
    output.say(f"{made.name}: {made.end_us / 1e6:.0f} s")
    for who, waited_us in made.waits_us().items():
        output.say(f"  waited for {who}: {waited_us / 1e6:.0f} s")
    for index, side in enumerate(made.parties):
        own_us = sum(one.end_us - one.begin_us for one in made.critical if one.lane == index)
        output.say(f"  {side} on the critical path: {own_us / 1e6:.0f} s")


def read_timeline(folder: Path) -> Timeline:
    """Return the timeline of a run's folder.

    Raises:
        JournalFailed: JNL001, there is no journal or its files cannot be read any more.
    """
    with contextlib.closing(Journal.open(folder / FILE_NAME)) as journal:
        pinned = load_pinned(journal.head)
        if pinned is None:
            raise JournalFailed(f"{folder}: the files of its journal do not load any more [JNL001]")
        plan = hurried(pinned.plan, speed_of(journal.head))
        return build(plan, replay_steps(plan, journal))
