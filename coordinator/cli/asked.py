"""What the verbs that rehearse, run and attack are asked, each option declared once."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from coordinator.cli.options import (
    PARTY_BROKER,
    RUNS,
    Answers,
    Broker,
    CapSpeed,
    CapTorque,
    CaseFile,
    HoldFrom,
    JointFile,
    LookAhead,
    ModeWord,
    Operators,
    Out,
    PageAt,
    PartyBroker,
    Records,
    RunBooks,
    Secrets,
    Seed,
    TakeOver,
)
from coordinator.core.plan import Caps, Mode


@dataclass(frozen=True, slots=True, kw_only=True)
class Going:
    """What rehearsals and runs are asked alike."""

    joint: JointFile = None
    seed: Seed = 1
    case: CaseFile = None
    answer: Answers = None
    look_ahead: LookAhead = 3
    mode: ModeWord = Mode.AUTOMATIC
    cap_torque: CapTorque = None
    cap_speed: CapSpeed = 1.0

    @property
    def caps(self) -> Caps:
        """Return what torque and speed are capped to."""
        return Caps(self.cap_torque, self.cap_speed)


@dataclass(frozen=True, slots=True, kw_only=True)
class DryRunAsked(Going):
    """What is asked of a rehearsal."""

    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for trace, notices and records.")
    ] = None
    best_order: Annotated[
        bool,
        typer.Option("--best-order", help="Where `after` leaves the order free: the shortest."),
    ] = False


@dataclass(frozen=True, slots=True, kw_only=True)
class RunAsked(Going):
    """What is asked of a run in real time."""

    out: Out = RUNS
    broker: Broker = None
    secrets: Secrets = None
    parties: Annotated[
        tuple[str, ...],
        typer.Option("--party", help="How one stands: fore=simulated, =shadow or =real; repeat."),
    ] = ()
    real: Annotated[bool, typer.Option("--real", help="Every party is real.")] = False
    elsewhere: Annotated[
        bool, typer.Option("--elsewhere", help="The simulated parties are on the broker already.")
    ] = False
    book: RunBooks = None
    speed: Annotated[
        float, typer.Option(min=0.1, max=50, help="How much faster than life; simulated only.")
    ] = 1.0
    take_over: TakeOver = False
    records: Records = None
    windows: Annotated[
        Path | None, typer.Option("--windows", help="A file of windows that records are judged by.")
    ] = None
    page: Annotated[bool, typer.Option("--page", help="Serve the live page.")] = False
    page_at: PageAt = "127.0.0.1:8080"
    operators: Operators = None
    hold_from: HoldFrom = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ResumeAsked:
    """What is asked of a run that is gone on with."""

    out: Out = RUNS
    look: Annotated[
        bool, typer.Option("--look", help="Only show where it was left; nothing is started.")
    ] = False
    pinned: Annotated[
        bool, typer.Option("--pinned", help="Go on with the files as they were, though changed.")
    ] = False
    restart: Annotated[
        bool, typer.Option("--restart", help="Restart once all stand; simulated arms only.")
    ] = False
    answer: Answers = None
    broker: Broker = None
    secrets: Secrets = None
    records: Records = None
    book: RunBooks = None
    take_over: TakeOver = False
    page: Annotated[bool, typer.Option("--page", help="Serve the live page.")] = False
    page_at: PageAt = "127.0.0.1:8080"
    operators: Operators = None
    hold_from: HoldFrom = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PartyAsked:
    """What one simulated party is asked to be."""

    sequence: Annotated[Path, typer.Option(help="The sequence whose cell it stands in.")]
    joint: JointFile = None
    broker: PartyBroker = PARTY_BROKER
    secrets: Secrets = None
    seed: Seed = 1
    case: CaseFile = None
    out: Out = RUNS


@dataclass(frozen=True, slots=True, kw_only=True)
class FuzzAsked:
    """What is asked of a campaign."""

    joint: JointFile = None
    seed: Annotated[
        int, typer.Option(min=0, help="Of the campaign: the same seed, the same cases.")
    ] = 1
    cases: Annotated[int | None, typer.Option(min=1, help="How many; 1000 by default.")] = None
    minutes: Annotated[
        float | None, typer.Option(min=0.01, help="End after so long; --cases bounds it too.")
    ] = None
    workers: Annotated[int, typer.Option(min=1, max=256, help="Processes on this machine.")] = 1
    on: Annotated[
        str | None,
        typer.Option(metavar="tcp://HOST:PORT", help="A Dask scheduler to work on instead."),
    ] = None
    out: Annotated[
        Path, typer.Option("--out", help="Folder of the campaign; it goes on where it was.")
    ] = Path("bothsides-campaign")
    merge: Annotated[tuple[Path, ...], typer.Option(help="Folders of campaigns to take in.")] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckAsked:
    """What is asked of a check."""

    quick: Annotated[bool, typer.Option("--quick", help="Rules only, no proof.")] = False
    causes: Annotated[
        int | None, typer.Option(min=0, max=3, help="How many things may go wrong in one run: 2.")
    ] = None
    states_max: Annotated[
        int | None,
        typer.Option("--states", min=1, help="Give the proof up after so many: 20000000."),
    ] = None
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for pictures and cases of what is broken.")
    ] = None
    leave_out: Annotated[
        bool,
        typer.Option("--leave-out", help="Leave out each barrier, bound ... in turn: what breaks?"),
    ] = False
    joint: JointFile = None
    fix: Annotated[
        bool, typer.Option("--fix", help="Put the files into the house's layout first.")
    ] = False
    sarif: Annotated[
        bool, typer.Option("--sarif", help="Findings as a SARIF document on stdout.")
    ] = False


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawAsked:
    """How a sequence is to be drawn."""

    joint: JointFile = None
    mermaid: Annotated[bool, typer.Option("--mermaid", help="Mermaid text, not SVG.")] = False
    unrolled: Annotated[
        bool, typer.Option("--unrolled", help="Every bolt, pair and round by itself.")
    ] = False
    out: Annotated[
        Path | None,
        typer.Option("--out", help="This file, not one of the sequence's name here; - for stdout."),
    ] = None
