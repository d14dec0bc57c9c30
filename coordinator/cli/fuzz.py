"""The verb `fuzz`: a campaign of generated cases, its progress, its folder and its reports."""

import json
import signal
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import Any

from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from coordinator.campaign.campaigning import Campaign, Settings, Tally
from coordinator.campaign.case_file import case_text
from coordinator.campaign.pool import WorkersLost, workers
from coordinator.campaign.report import document
from coordinator.campaign.report_html import page
from coordinator.campaign.report_junit import junit
from coordinator.campaign.shrink import Shrunk
from coordinator.campaign.store import Folder, Head, OtherCampaign, Row
from coordinator.cli.files import load_sequence
from coordinator.cli.output import Exit, Output
from coordinator.cli.stage import StageMaker, maker_of

CASES = 1_000
"""How many cases there are where neither cases nor minutes are given."""
ENDLESS = 1 << 40


@dataclass(frozen=True, slots=True)
class Asked:
    """What the command line asks of a campaign."""

    seed: int
    cases: int | None
    minutes: float | None
    workers: int
    on: str
    out: Path
    merge: tuple[Path, ...]


def fuzz(output: Output, path: Path, joint: Path | None, asked: Asked) -> Exit:
    """Run a campaign on a sequence, or go on with one, and write its reports."""
    loaded = load_sequence(output, path, joint)
    maker = maker_of(path, loaded)
    head = Head(maker.sequence, loaded.plan.digest, maker.program, asked.seed)
    folder = Folder(asked.out)
    try:
        folder.repair()
        rows = folder.begin(head)
        rows = _merged(folder, head, rows, asked.merge)
        with workers(asked.workers, asked.on) as pool:
            campaign = Campaign(maker, _settings(asked), folder, pool)
            with _progress(output, asked, campaign) as told:
                tally = campaign.run(rows, told)
    except (OtherCampaign, WorkersLost) as error:
        return output.refuse(str(error))
    except OSError as error:
        return output.refuse(f"{asked.on or asked.out}: {error.strerror or error}; nothing was run")
    planned = campaign.planned_cells()
    kinds = [kind.name for kind in maker.words().kinds]
    report = document(tally, planned, kinds)
    saved = _write(folder, tally, report, maker, asked.seed)
    _tell(output, tally, report, folder, saved)
    output.document(
        ok=tally.is_good,
        folder=str(folder.path),
        failures=[str(place) for place in saved],
        **{name: value for name, value in report.items() if name not in ("matrix", "promises")},
    )
    return Exit.GOOD if tally.is_good else Exit.FINDINGS


def _settings(asked: Asked) -> Settings:
    budget_s = 1e9 if asked.minutes is None else asked.minutes * 60.0
    cases = asked.cases or (CASES if asked.minutes is None else ENDLESS)
    return Settings(asked.seed, cases, budget_s)


def _merged(folder: Folder, head: Head, rows: list[Row], others: Sequence[Path]) -> list[Row]:
    """Take in what other campaigns on the same files have done."""
    known = {(row.seed, row.number) for row in rows}
    added: list[Row] = []
    for place in others:
        other = Folder(place)
        theirs = other.head()
        if (theirs.digest, theirs.program) != (head.digest, head.program):
            raise OtherCampaign(
                f"{place}: was run on other files or with another program; its cases count for "
                "those alone, leave it out of --merge"
            )
        for row in other.rows():
            if (row.seed, row.number) not in known:
                known.add((row.seed, row.number))
                added.append(row)
    folder.add(added)
    return rows + added


@contextmanager
def _progress(output: Output, asked: Asked, campaign: Campaign) -> Iterator[Any]:
    """Show how far it is; the first Ctrl-C lets what is being done end, the second ends all."""

    def stop(number: int, frame: FrameType | None) -> None:
        campaign.stop()
        output.say("stopping: what is being run is still counted; run again to go on")
        signal.signal(signal.SIGINT, before)

    before = signal.signal(signal.SIGINT, stop)
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn(
            "{task.fields[rate]:.0f}/s, {task.fields[known]} met, {task.fields[bad]} broken"
        ),
        TimeRemainingColumn(),
    )
    progress = Progress(*columns, console=output.people, disable=not output.people.is_terminal)
    total = asked.cases or (CASES if asked.minutes is None else None)
    with progress:
        task = progress.add_task("cases", total=total, rate=0.0, known=0, bad=0)

        def told(tally: Tally) -> None:
            last = tally.samples[-1] if tally.samples else None
            first = tally.samples[0].done if tally.samples else 0
            rate = 0.0 if last is None else (last.done - first) / max(1e-9, last.at_s)
            progress.update(
                task,
                completed=tally.done,
                rate=rate,
                known=0 if last is None else last.known,
                bad=sum(tally.failed.values()),
            )

        try:
            yield told
        finally:
            signal.signal(signal.SIGINT, before)


def _write(
    folder: Folder, tally: Tally, report: dict[str, Any], maker: StageMaker, seed: int
) -> list[Path]:
    """Write reports and cases, and return where the cases are."""
    text = json.dumps(report, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    (folder.path / "report.json").write_text(text, encoding="utf-8")
    html = page(report, tally.samples, maker.sequence)
    (folder.path / "report.html").write_text(html, encoding="utf-8")
    xml = junit(tally, maker.sequence, seed)
    (folder.path / "report.junit.xml").write_text(xml, encoding="utf-8")
    return [_save(folder, one, maker) for one in tally.shrunk]


def _save(folder: Folder, shrunk: Shrunk, maker: StageMaker) -> Path:
    first = shrunk.outcome.signature or "not found again"
    slug = "".join(letter if letter.isalnum() else "_" for letter in first.lower())[:40]
    place = folder.failures / f"{slug}_{shrunk.case.case}.yaml"
    place.write_text(case_text(shrunk.case, maker.words()), encoding="utf-8")
    return place


def _tell(
    output: Output, tally: Tally, report: dict[str, Any], folder: Folder, saved: list[Path]
) -> None:
    coverage, going = report["coverage"], report["health"]
    met = ", ".join(f"{name.replace('_', ' ')} {a} of {b}" for name, (a, b) in coverage.items())
    output.say(f"SIMULATED: {tally.done} cases, {going['rate_per_s']} a second; met: {met}")
    canaries = report["canaries"]
    output.say(f"canaries: {canaries['reported']} reported, {canaries['missed']} missed")
    for signature, count in tally.failed.most_common():
        promise = report["promises"].get(signature.split(" ")[0], "")
        output.say(f"BROKEN in {count} cases: {signature}: {promise}")
    for day, survey in tally.surveys.items():
        for violation in survey.outcome.violations:
            output.say(f"BROKEN on clean day {day}: {violation.signature}: {violation.text}")
    for place in saved:
        output.say(f"  bothsides replay {place}")
    output.say(f"reports: {folder.path}/report.html, report.json, report.junit.xml")
