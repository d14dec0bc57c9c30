"""The verb `records trends --steps`: how long each step took, out of the journals of runs."""

from dataclasses import asdict
from pathlib import Path

from rich.table import Table

from coordinator.cli.output import Exit, Output, counted
from coordinator.cli.records.record_verbs import records_of
from coordinator.cli.timeline import read_timeline
from coordinator.records.journal import FILE_NAME, JournalFailed
from coordinator.records.rows import RecordFilter
from coordinator.timeline.build import Timeline, durations


def show_durations(output: Output, store_at: str, wanted: RecordFilter) -> Exit:
    """Print how long each step took, over the runs that left their journal in the folder."""
    if "://" in store_at:
        return output.refuse(
            f"--steps reads journals, which are in the runs' folder and not in {store_at}; name "
            "the folder with --out"
        )
    with records_of(output, store_at) as store:
        runs = [
            one.run
            for one in store.runs()
            if wanted.run in (None, one.run) and wanted.joint in (None, one.joint)
        ]
    made, lost = _read(Path(store_at), runs)
    found = durations(made)
    table = Table("side", "step", "times", "least s", "median s", "most s", box=None)
    for one in found:
        figures = (f"{value:.1f}" for value in (one.least_s, one.median_s, one.most_s))
        table.add_row(one.side, one.step, str(one.count), *figures)
    output.people.print(table)
    for line in lost:
        output.say(line)
    output.say(f"{len(made)} of {counted(len(runs), 'run')} with the journal here")
    output.document(ok=True, runs=len(made), steps=[asdict(one) for one in found], lost=lost)
    return Exit.GOOD


def _read(folder: Path, runs: list[str]) -> tuple[list[Timeline], list[str]]:
    made, lost = [], []
    for run in runs:
        if not (folder / run / FILE_NAME).is_file():
            continue
        try:
            made.append(read_timeline(folder / run))
        except JournalFailed as error:
            lost.append(str(error))
    return made, lost
