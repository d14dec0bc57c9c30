"""What the verbs below `commission` are asked, each option declared once."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from coordinator.cli.options import (
    BOOKS,
    PARTY_BROKER,
    Books,
    Broker,
    JointFile,
    PartyBroker,
    Secrets,
    Seed,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ArmAsked:
    """What is asked of an acceptance."""

    cell: Annotated[Path, typer.Option(help="The cell that it stands in.", show_default=False)]
    by: Annotated[str, typer.Option(help="Who carries it out and signs.", show_default=False)]
    broker: PartyBroker = PARTY_BROKER
    secrets: Secrets = None
    lines: Annotated[
        tuple[str, ...], typer.Option("--line", help="Only this line; may be repeated.")
    ] = ()
    out: Annotated[Path | None, typer.Option("--out", help="Folder for the signed report.")] = None
    attended: Annotated[
        bool, typer.Option("--attended", help="Somebody stands by the arm and does as asked.")
    ] = False
    book: Books = BOOKS


@dataclass(frozen=True, slots=True, kw_only=True)
class PointsAsked:
    """What is asked of the point-check sheet."""

    joint: JointFile = None
    book: Books = BOOKS
    broker: Broker = None
    secrets: Secrets = None
    seconds: Annotated[
        float, typer.Option(min=1.0, help="How long the bus is listened to at most.")
    ] = 60.0
    by: Annotated[str, typer.Option(help="Who looks and signs.")] = ""
    enter: Annotated[
        tuple[str, ...],
        typer.Option("--enter", help="TAG=STATE that a person has seen; may be repeated."),
    ] = ()
    why: Annotated[str, typer.Option(help="How the person saw it.")] = ""
    parties: Annotated[
        tuple[str, ...], typer.Option("--party", help="Only this party; may be repeated.")
    ] = ()
    simulated: Annotated[
        bool, typer.Option("--simulated", help="Count what simulated parties show, too.")
    ] = False


@dataclass(frozen=True, slots=True, kw_only=True)
class MatrixAsked:
    """What is asked of the cause-and-effect matrix."""

    joint: JointFile = None
    book: Books = BOOKS
    drill: Annotated[
        bool, typer.Option("--drill", help="Drill every interlock on simulated parties first.")
    ] = False
    runs: Annotated[
        tuple[Path, ...],
        typer.Option("--runs", help="Tick from the journals of runs in this folder; repeat."),
    ] = ()
    target: Annotated[
        Path | None, typer.Option("--file", help="Write it: .html, .json or .txt.")
    ] = None
    real: Annotated[bool, typer.Option("--real", help="Ask for the ticks on real parties.")] = False
    seed: Seed = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class PackAsked:
    """What the lists and the pack are made from."""

    joint: JointFile = None
    book: Books = BOOKS
    runs: Annotated[
        tuple[Path, ...],
        typer.Option("--runs", help="Folder of runs to read journals of; repeat."),
    ] = ()
