"""The verbs of `records` that ask more than one record: export, re-judge, look-back, trends."""

import math
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

from rich.table import Table

from coordinator.cli.files import read_or_exit
from coordinator.cli.output import Exit, Output, counted
from coordinator.cli.records.record_verbs import records_of
from coordinator.cli.timeline import read_timeline
from coordinator.extras import missing_extra
from coordinator.records.export import FORMATS, export
from coordinator.records.journal import FILE_NAME, JournalFailed
from coordinator.records.lookback import Touched, find_touched, rejudge, trends
from coordinator.records.rows import LaterJudgement, RecordFilter
from coordinator.records.store import RecordStore
from coordinator.records.windows import Bounds, Window, Windows
from coordinator.sequence.form.diagnostics import Findings, SequenceError
from coordinator.sequence.models.windows_model import WindowModel, WindowsModel
from coordinator.sequence.read import read_model, root_of
from coordinator.timeline.build import Timeline, durations


def export_records(output: Output, store_at: str, wanted: RecordFilter, target: Path) -> Exit:
    """Write the records that fit into a file; its ending says the format."""
    form = target.suffix.lstrip(".").lower()
    if form not in FORMATS:
        return output.refuse(
            f"{target}: ending is '{form}', must be one of {', '.join(FORMATS)}; rename the file"
        )
    if form == "parquet" and (missing := missing_extra("parquet", str(target))):
        return output.refuse(missing)
    with records_of(output, store_at) as store:
        found = store.list_records(wanted)
    try:
        target.write_bytes(export(found, form))
    except OSError as error:
        return output.refuse(f"{target}: {error.strerror}; name another file")
    output.say(f"{counted(len(found), 'record')} in {target}")
    output.document(ok=True, records=len(found), file=str(target), format=form)
    return Exit.GOOD


def rejudge_records(
    output: Output, store_at: str, wanted: RecordFilter, windows_path: Path, who: str | None
) -> Exit:
    """Judge records under other windows; with `who` the outcome is kept beside the first."""
    windows = read_or_exit(output, lambda: read_windows(windows_path))
    with records_of(output, store_at) as store:
        changed = _rejudge(output, store, wanted, windows, who)
    return Exit.FINDINGS if changed else Exit.GOOD


def _rejudge(
    output: Output, store: RecordStore, wanted: RecordFilter, windows: Windows, who: str | None
) -> int:
    runs = {run.run: run for run in store.runs()}
    table = Table("no", "run", "bolt", "kind", "round", "first", "now", "why", box=None)
    rows = []
    at = datetime.now(UTC).isoformat()
    for one in store.list_records(wanted):
        made = rejudge(one, windows, runs.get(one.run))
        reasons = tuple(reason.value for reason in made.reasons)
        rows.append(
            {"record": one.seq, "run": one.run, "bolt": one.bolt, "kind": one.kind,
             "first": one.verdict, "now": made.verdict.value, "reasons": reasons}
        )  # fmt: skip
        if made.verdict.value != one.verdict:
            table.add_row(
                str(one.seq), one.run, str(one.bolt), one.kind, str(one.round or ""),
                one.verdict, made.verdict.value, ", ".join(reasons),
            )  # fmt: skip
        if who is not None:
            store.add_judgement(
                LaterJudgement(0, one.run, one.seq, windows, made.verdict.value, reasons, who, at)
            )
    changed = sum(row["first"] != row["now"] for row in rows)
    output.people.print(table)
    kept = f", kept under the name of {who}" if who else ", not kept: add --by NAME to keep them"
    output.say(f"{counted(len(rows), 'record')} judged by '{windows.name}', {changed} differ{kept}")
    output.document(ok=not changed, windows=windows.to_data(), judged=rows, differ=changed)
    return changed


def look_back(output: Output, store_at: str, tool: str, since: str) -> Exit:
    """Name every joint that a tool has touched since a day."""
    side, _, name = tool.partition("/")
    if not name:
        return output.refuse(f"tool is '{tool}', must be SIDE/TOOL such as fore/wrench")
    try:
        datetime.fromisoformat(since)
    except ValueError:
        return output.refuse(f"--since is '{since}', must be a day such as 2026-08-03")
    with records_of(output, store_at) as store:
        wanted = RecordFilter(side=side, tool=name, since=since)
        touched = find_touched(store.list_records(wanted, traces=False), store.runs(), side, name)
    _tell_touched(output, touched, tool, since)
    return Exit.FINDINGS if touched else Exit.GOOD


def _tell_touched(output: Output, touched: tuple[Touched, ...], tool: str, since: str) -> None:
    table = Table("joint", "started", "bolts", "records", "calibrated", "due", "", box=None)
    for one in touched:
        table.add_row(
            one.joint, one.started, " ".join(map(str, one.bolts)), str(one.records),
            one.calibrated, one.due, "simulated" if one.simulated else "",
        )  # fmt: skip
    output.people.print(table)
    output.say(f"{counted(len(touched), 'run')} with {tool} since {since}")
    output.document(ok=not touched, touched=[asdict(one) for one in touched])


def show_trends(output: Output, store_at: str, wanted: RecordFilter) -> Exit:
    """Print what joints needed, run by run."""
    with records_of(output, store_at) as store:
        found = trends(store.list_records(wanted, traces=False), store.runs())
    table = Table(
        "joint", "started", "records", "rejected", "attempts", "pulled N·m", "broke N·m", "causes",
        box=None,
    )  # fmt: skip
    for one in found:
        causes = ", ".join(f"{side} {fault} ×{count}" for side, fault, count in one.causes)
        table.add_row(
            one.joint, one.started[:19], str(one.records), str(one.rejected),
            f"{one.attempts:.2f}", _figure(one.pull_nm), _figure(one.break_out_nm), causes,
        )  # fmt: skip
    output.people.print(table)
    output.document(ok=True, runs=[asdict(one) for one in found])
    return Exit.GOOD


def _figure(value: float | None) -> str:
    return "" if value is None else f"{value:.0f}"


def read_windows_or_exit(output: Output, path: Path | None) -> Windows | None:
    """Return the windows of a file, None for no file; leave with what is wrong."""
    return None if path is None else read_or_exit(output, lambda: read_windows(path))


def read_windows(path: Path) -> Windows:
    """Read a file of windows.

    Raises:
        SequenceError: With every finding.
    """
    findings = Findings()
    _, model = read_model(WindowsModel, path, root_of(path), findings)
    if model is None or findings:
        raise SequenceError(findings.all())
    kinds = tuple((str(kind), _window(one)) for kind, one in sorted(model.kinds.items()))
    return Windows(model.tolerance, model.windows, kinds)


def _window(model: WindowModel) -> Window:
    slope = model.slope_per_degree
    return Window(
        angle_rad=None if model.angle is None else Bounds(*model.angle),
        pressure_pa=None if model.pressure is None else Bounds(*model.pressure),
        slope_nm_per_rad=None
        if slope is None
        else Bounds(*(math.degrees(value) for value in slope)),
        confirmations=model.confirmations,
    )


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
