"""The verbs `run`, `arm` and `floor`: real time, on a real bus."""

import sys
from pathlib import Path

from coordinator.cli.asked import PartyAsked, ResumeAsked, RunAsked
from coordinator.cli.end_of_run import report_end
from coordinator.cli.evidence import keep_evidence, refuse_for_evidence
from coordinator.cli.files import load_answers, load_capped, load_case, load_sequence
from coordinator.cli.options import BOOKS
from coordinator.cli.output import Exit, Output
from coordinator.cli.records.study_verbs import read_windows_or_exit
from coordinator.commissioning.book import book_path, read_book
from coordinator.commissioning.promotion import Asked, missing_for, unchecked_points
from coordinator.live.broker import BrokerFailed
from coordinator.live.coordinator import OutdatedCoordinator
from coordinator.live.link import LinkUnreachable
from coordinator.live.standing import Standings
from coordinator.operate.party_process import Part, play
from coordinator.operate.run_live import LiveResult, Wishes, run_live
from coordinator.operate.run_page import PageFailed, PageWish
from coordinator.page.operators import OperatorsFailed
from coordinator.records.journal import JournalFailed
from coordinator.records.store import RecordsFailed
from coordinator.rehearse.simulated import to_causes, unknown_to_simulation
from coordinator.sequence import Loaded
from coordinator.wire.topics import FLOOR

REFUSALS = (
    LinkUnreachable,
    BrokerFailed,
    JournalFailed,
    OutdatedCoordinator,
    RecordsFailed,
    PageFailed,
    OperatorsFailed,
    ValueError,
)


def run_sequence(output: Output, path: Path, asked: RunAsked) -> Exit:
    """Run a sequence to its end and tell what was proved."""
    loaded = load_capped(output, path, asked.joint, asked.caps)
    case = load_case(output, asked.case, loaded)
    people = load_answers(output, asked.answer)
    windows = read_windows_or_exit(output, asked.windows)
    try:
        stands = Standings.asked(loaded.cell, asked.parties, is_real=asked.real)
        if not stands.is_all_real and (unknown := unknown_to_simulation(loaded)):
            return output.refuse(unknown)
        if wrong := _what_is_wrong(asked, stands, has_case=case is not None):
            return output.refuse(wrong)
        promotion = Asked(loaded, str(path), stands, asked.mode, asked.caps)
        entries = () if stands.is_all_simulated else read_book(_book(asked, loaded))
        if lacking := missing_for(promotion, entries):
            return refuse_for_evidence(output, stands, lacking)
        wishes = Wishes(
            loaded=loaded,
            sequence_path=path,
            out=asked.out,
            say=output.say,
            console=output.people,
            joint_path=asked.joint,
            seed=asked.seed,
            causes=to_causes(case.causes) if case else (),
            people=people or case,
            speed=asked.speed,
            interactive=sys.stdin.isatty() and people is None,
            standings=stands,
            starts_parties=not asked.elsewhere,
            unchecked=unchecked_points(promotion, entries) if stands.has_real else (),
            take_over=asked.take_over,
            page=page_wish(asked, path, asked.joint, asked.seed),
            look_ahead=asked.look_ahead,
            mode=asked.mode,
            records=asked.records,
            windows=windows,
        )
        result = run_live(wishes, asked.broker)
        if asked.book or not stands.is_all_simulated or _book(asked, loaded).exists():
            keep_evidence(output, _book(asked, loaded), promotion, result)
    except REFUSALS as error:
        return output.refuse(str(error))
    _tell_haste(output, asked.speed, result)
    return report_end(output, loaded, result, out=asked.out, records=asked.records)


def page_wish(
    asked: RunAsked | ResumeAsked, sequence: Path, joint: Path | None, seed: int
) -> PageWish | None:
    """Return what is asked of the page of a run that begins or is gone on with, None for none."""
    if not asked.page:
        return None
    place = asked.records or str(asked.out)
    consoles = tuple(asked.hold_from or ())
    return PageWish(asked.page_at, asked.operators, place, sequence, joint, seed, consoles)


def _book(asked: RunAsked, loaded: Loaded) -> Path:
    return book_path(asked.book or BOOKS, loaded.cell.cell)


def _what_is_wrong(asked: RunAsked, stands: Standings, *, has_case: bool) -> str:
    """Return why wishes do not go together, empty if they do."""
    if asked.elsewhere and asked.broker is None:
        return "--elsewhere needs the address of the broker that the parties are on: --broker"
    if stands.is_all_simulated:
        return ""
    if asked.broker is None or asked.speed != 1.0 or has_case:
        return (
            f"{stands.words()}: what is real or in shadow needs --broker, and takes neither "
            "--speed nor --case"
        )
    if asked.elsewhere and not stands.is_all_real:
        return "--elsewhere is for runs with everything simulated; leave it out"
    return ""


def _tell_haste(output: Output, speed: float, result: LiveResult) -> None:
    if speed > 1.0 and result.reason.endswith("held by itself"):
        output.say(
            f"An arm holds by itself when no lease arrives in time: at --speed {speed:g} this "
            "machine may not keep up; choose a smaller one"
        )


def be_party(name: str, asked: PartyAsked, *, hoist_only: bool = False) -> Exit:
    """Be one simulated party until told to end; of the floor, perhaps only the hoist."""
    output = Output.of(False)
    loaded = load_sequence(output, asked.sequence, asked.joint)
    case = load_case(output, asked.case, loaded)
    if name != FLOOR and name not in loaded.cell.sides:
        sides = ", ".join(loaded.cell.sides)
        return output.refuse(f"side is '{name}', must be one of {sides}; name one of them")
    causes = to_causes(case.causes) if case else ()
    part = Part(name, asked.sequence, asked.joint, asked.out, asked.seed, causes)
    try:
        play(part, asked.broker, hoist_only=hoist_only)
    except ValueError as error:
        return output.refuse(str(error))
    return Exit.GOOD
