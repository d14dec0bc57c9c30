"""The verb `fuzz`: a campaign of generated cases, its progress, its folder and its reports."""

import json
import signal
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import Any

from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from coordinator.campaign.campaigning import Campaign, Tally
from coordinator.campaign.case_file import case_text
from coordinator.campaign.line import CANARY_EVERY, Settings
from coordinator.campaign.pool import NoCluster, WorkersLost, workers, wrong_with_address
from coordinator.campaign.report import cases_of, document, health
from coordinator.campaign.report_html import page
from coordinator.campaign.report_junit import junit
from coordinator.campaign.store import Folder, Head, Kept, OtherCampaign, Row, SpoiltLine
from coordinator.cli.asked import FuzzAsked
from coordinator.cli.files import load_sequence
from coordinator.cli.output import Exit, Output, counted
from coordinator.rehearse.stage import StageMaker, maker_of

CASES = 1_000
"""How many cases there are where neither cases nor minutes are given."""
ENDLESS = 1 << 40
STOPPING = "stopping after what is being run, which is still counted; again to end at once"


@dataclass(frozen=True, slots=True)
class Ran:
    """A campaign that has ended, and where it is kept."""

    campaign: Campaign
    folder: Folder
    maker: StageMaker
    seed: int


def fuzz(output: Output, path: Path, asked: FuzzAsked) -> Exit:
    """Run a campaign on a sequence, or go on with one, and write its reports."""
    if wrong := _wrong(asked):
        return output.refuse(wrong)
    loaded = load_sequence(output, path, asked.joint)
    maker = maker_of(path, loaded)
    head = Head(maker.sequence, loaded.plan.digest, maker.program, asked.seed)
    try:
        return _run(output, asked, head, maker)
    except (OtherCampaign, SpoiltLine, WorkersLost, NoCluster) as error:
        return output.refuse(str(error))
    except OSError as error:
        place = error.filename or asked.out
        return output.refuse(
            f"{place}: {error.strerror or error}; make it writable, or name another folder with "
            "--out; what was counted until then is kept"
        )
    except KeyboardInterrupt:
        text = "ended at once, without reports; what was counted is kept, run again to go on"
        output.error(text)
        return Exit.HELD


def _wrong(asked: FuzzAsked) -> str:
    """Return what is wrong with what is asked, empty for nothing."""
    if asked.on is not None and (wrong := wrong_with_address(asked.on)):
        return wrong
    for place in asked.merge:
        if place.resolve() == asked.out.resolve():
            return (
                f"--merge is '{place}', which is the folder of this campaign itself; name the "
                "folder of another one, or leave it out"
            )
    return ""


def _run(output: Output, asked: FuzzAsked, head: Head, maker: StageMaker) -> Exit:
    """Run the campaign; whatever can be refused is refused before anything is written."""
    folder = Folder(asked.out)
    folder.check(head)
    others = [(Folder(place), _rows_of(Folder(place), head)) for place in asked.merge]
    with workers(asked.workers, asked.on or "") as pool, folder.locked():
        rows = _merged(folder, folder.begin(head), others)
        campaign = Campaign(maker, _settings(asked), folder, pool)
        with _progress(output, asked, campaign) as told:
            campaign.run(rows, told)
        return _report(output, Ran(campaign, folder, maker, asked.seed))


def _report(output: Output, ran: Ran) -> Exit:
    tally, folder = ran.campaign.tally, ran.folder
    _save(ran)
    kinds = [kind.name for kind in ran.maker.words().kinds]
    kept = folder.kept()
    report = document(tally, ran.campaign.planned_cells(), kinds, kept)
    _write(ran, report, kept)
    _tell(output, ran, report, cases_of(tally, kept))
    left_out = ("matrix", "promises", "kept")
    is_stopped = ran.campaign.is_stopped
    output.document(
        ok=tally.is_good and not is_stopped,
        stopped=is_stopped,
        folder=str(folder.path),
        failures=[str(one.place) for cases in cases_of(tally, kept).values() for one in cases],
        **{name: value for name, value in report.items() if name not in left_out},
    )
    if not tally.is_good and (tally.done or not is_stopped):
        return Exit.FINDINGS
    return Exit.HELD if is_stopped else Exit.GOOD


def _settings(asked: FuzzAsked) -> Settings:
    budget_s = 1e9 if asked.minutes is None else asked.minutes * 60.0
    cases = asked.cases or (CASES if asked.minutes is None else ENDLESS)
    return Settings(asked.seed, cases, budget_s)


def _rows_of(other: Folder, head: Head) -> list[Row]:
    """Return what another campaign on the same files has done."""
    theirs = other.head()
    if (theirs.digest, theirs.program) != (head.digest, head.program):
        raise OtherCampaign(
            f"{other.path}: was run on other files or with another program; its cases count for "
            "those alone, leave it out of --merge"
        )
    return list(other.rows())


def _merged(
    folder: Folder, rows: list[Row], others: Sequence[tuple[Folder, list[Row]]]
) -> list[Row]:
    """Take in what other campaigns have done, and their failing cases."""
    known = {(row.seed, row.number) for row in rows}
    added: list[Row] = []
    for other, theirs in others:
        folder.take_failures(other)
        for row in theirs:
            if (row.seed, row.number) not in known:
                known.add((row.seed, row.number))
                added.append(row)
    folder.add(added)
    return rows + added


@contextmanager
def _progress(output: Output, asked: FuzzAsked, campaign: Campaign) -> Iterator[Any]:
    """Show how far it is; the first Ctrl-C lets what is being done end, the second ends all."""

    def stop(number: int, frame: FrameType | None) -> None:
        # Nothing is printed here: something may just be being printed.
        campaign.stop()
        signal.signal(signal.SIGINT, signal.default_int_handler)

    before = signal.signal(signal.SIGINT, stop)
    columns = (
        TextColumn("{task.description}", markup=False),
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
        said: list[str] = []

        def told(tally: Tally) -> None:
            if campaign.is_stopped and not said:
                said.append(STOPPING)
                output.say(STOPPING)
            progress.update(
                task,
                completed=tally.done,
                rate=health(tally.samples)["rate_per_s"] or 0.0,
                known=tally.known,
                bad=sum(tally.failed.values()),
            )

        try:
            yield told
        finally:
            signal.signal(signal.SIGINT, before)


def _write(ran: Ran, report: dict[str, Any], kept: Sequence[Kept]) -> None:
    """Write the reports."""
    tally, folder = ran.campaign.tally, ran.folder.path
    text = json.dumps(report, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    (folder / "report.json").write_text(text, encoding="utf-8")
    html = page(report, tally.samples, ran.maker.sequence)
    (folder / "report.html").write_text(html, encoding="utf-8")
    xml = junit(tally, ran.maker.sequence, ran.seed, kept)
    (folder / "report.junit.xml").write_text(xml, encoding="utf-8")


def _save(ran: Ran) -> None:
    """Write down the cases that failed."""
    for shrunk in ran.campaign.tally.shrunk:
        first = shrunk.outcome.signature or "not found again"
        slug = "".join(letter if letter.isalnum() else "_" for letter in first.lower())[:40]
        place = ran.folder.free_place(f"{slug}_{shrunk.case.case}", ran.seed)
        place.write_text(case_text(shrunk.case, ran.maker.words()), encoding="utf-8")


def _tell(
    output: Output, ran: Ran, report: dict[str, Any], cases: Mapping[str, Sequence[Kept]]
) -> None:
    tally, coverage, rate = ran.campaign.tally, report["coverage"], report["health"]["rate_per_s"]
    met = ", ".join(f"{name.replace('_', ' ')} {a} of {b}" for name, (a, b) in coverage.items())
    speed = "" if rate is None else f", {rate} a second"
    output.say(f"SIMULATED: {counted(tally.done, 'case')}{speed}; met: {met}")
    _tell_canaries(output, tally)
    for signature, count in tally.failed.most_common():
        promise = report["promises"].get(signature.split(" ")[0], "")
        output.say(f"BROKEN in {counted(count, 'case')}: {signature}: {promise}")
        for one in cases[signature]:
            output.say(f"  bothsides replay {one.place}")
        if not cases[signature]:
            output.say(f"  no case of it is written down; {_how_to_write(ran, signature)}")
    for day, survey in tally.surveys.items():
        for violation in survey.outcome.violations:
            output.say(f"BROKEN on clean day {day}: {violation.signature}: {violation.text}")
    path = ran.folder.path
    output.say(f"reports: {path}/report.html, report.json, report.junit.xml")
    if ran.campaign.is_stopped:
        output.say("stopped before its end; the same line again goes on")


def _tell_canaries(output: Output, tally: Tally) -> None:
    reported, missed = tally.canaries[True], tally.canaries[False]
    if reported + missed:
        output.say(f"canaries: {reported} reported, {missed} missed")
    elif tally.done:
        output.say(
            f"canaries: none; one case in {CANARY_EVERY} is one, and without any the judge was not "
            f"put to the test: run {CANARY_EVERY} cases or more"
        )
    if tally.done == sum(tally.canaries.values()):
        output.say("NOTHING WAS RUN: this says nothing about the sequence; give it more time")


def _how_to_write(ran: Ran, signature: str) -> str:
    seeds = {
        row.seed: None
        for row in ran.campaign.tally.rows
        if not row.canary and row.outcome.signature == signature
    }
    if ran.seed in seeds:
        return "run the same line again for it"
    return f"it comes from a campaign that was merged in: go on with that, --seed {min(seeds)}"
