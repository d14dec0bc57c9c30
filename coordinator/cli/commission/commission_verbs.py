"""The verbs below `commission`: bring a cell up, one party at a time."""

from pathlib import Path
from typing import Annotated

import typer

from coordinator.cli.options import (
    BOOKS,
    PARTY_BROKER,
    Books,
    Broker,
    File,
    JointFile,
    Json,
    PartyBroker,
    Secrets,
    Seed,
    examples,
)
from coordinator.cli.output import Output
from coordinator.operate.secrets_folder import use_secrets

commission_app = typer.Typer(
    no_args_is_help=True, help="Bring a cell up: is each party fit to take part?"
)


@commission_app.command(
    "arm",
    epilog=examples(
        "commission arm fore --cell sequences/cells/sill_point.yaml --by ada --attended"
    ),
)
def commission_arm(
    side: Annotated[str, typer.Argument(help="Name of the side in the cell.", show_default=False)],
    cell: Annotated[Path, typer.Option(help="The cell that it stands in.", show_default=False)],
    by: Annotated[str, typer.Option(help="Who carries it out and signs.", show_default=False)],
    broker: PartyBroker = PARTY_BROKER,
    secrets: Secrets = None,
    line: Annotated[
        list[str] | None, typer.Option("--line", help="Only this line; may be repeated.")
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", help="Folder for the signed report.")] = None,
    attended: Annotated[
        bool, typer.Option("--attended", help="Somebody stands by the arm and does as asked.")
    ] = False,
    book: Books = BOOKS,
    json: Json = False,
) -> None:
    """Take an arm on the bus, simulated or real, through the lines of its acceptance."""
    from coordinator.cli.commission.arm_verb import Wish
    from coordinator.cli.commission.arm_verb import commission_arm as commission

    use_secrets(secrets)
    output, lines = Output.of(json), tuple(line or ())
    wish = Wish(broker, by, out, lines, attended, book)
    raise typer.Exit(commission(output, cell, side, wish))


@commission_app.command(
    "points",
    epilog=examples(
        "commission points sequences/makeup_8.yaml",
        "commission points sequences/makeup_8.yaml --broker mqtt://127.0.0.1:1883 --by ada",
    ),
)
def commission_points(
    file: File,
    joint: JointFile = None,
    book: Books = BOOKS,
    broker: Broker = None,
    secrets: Secrets = None,
    seconds: Annotated[
        float, typer.Option(min=1.0, help="How long the bus is listened to at most.")
    ] = 60.0,
    by: Annotated[str, typer.Option(help="Who looks and signs.")] = "",
    enter: Annotated[
        list[str] | None,
        typer.Option("--enter", help="TAG=STATE that a person has seen; may be repeated."),
    ] = None,
    why: Annotated[str, typer.Option(help="How the person saw it.")] = "",
    party: Annotated[
        list[str] | None, typer.Option("--party", help="Only this party; may be repeated.")
    ] = None,
    simulated: Annotated[
        bool, typer.Option("--simulated", help="Count what simulated parties show, too.")
    ] = False,
    json: Json = False,
) -> None:
    """Show the point-check sheet of the files; --broker fills it from what the bus says."""
    from coordinator.cli.commission.points_verb import PointsAsked
    from coordinator.cli.commission.points_verb import commission_points as check

    use_secrets(secrets)
    asked = PointsAsked(
        book=book,
        joint=joint,
        broker=broker,
        seconds=seconds,
        by=by,
        enter=tuple(enter or ()),
        why=why,
        parties=tuple(party or ()),
        simulated=simulated,
    )
    raise typer.Exit(check(Output.of(json), file, asked))


@commission_app.command(
    "matrix",
    epilog=examples(
        "commission matrix sequences/makeup_8.yaml --drill --file matrix.html",
        "commission matrix sequences/makeup_8.yaml --runs bothsides-runs --real",
    ),
)
def commission_matrix(
    file: File,
    joint: JointFile = None,
    book: Books = BOOKS,
    drill: Annotated[
        bool, typer.Option("--drill", help="Drill every interlock on simulated parties first.")
    ] = False,
    runs: Annotated[
        list[Path] | None,
        typer.Option("--runs", help="Tick from the journals of runs in this folder; repeat."),
    ] = None,
    target: Annotated[
        Path | None, typer.Option("--file", help="Write it: .html, .json or .txt.")
    ] = None,
    real: Annotated[
        bool, typer.Option("--real", help="Ask for the ticks on real parties.")
    ] = False,
    seed: Seed = 1,
    json: Json = False,
) -> None:
    """Show the cause-and-effect matrix of the files, ticked from journals alone."""
    from coordinator.cli.commission.matrix_verb import MatrixAsked
    from coordinator.cli.commission.matrix_verb import commission_matrix as show

    asked = MatrixAsked(
        book=book,
        joint=joint,
        drill=drill,
        runs=tuple(runs or ()),
        file=target,
        real=real,
        seed=seed,
    )
    raise typer.Exit(show(Output.of(json), file, asked))


Runs = Annotated[
    list[Path] | None, typer.Option("--runs", help="Folder of runs to read journals of; repeat.")
]


@commission_app.command(
    "lists", epilog=examples("commission lists sequences/makeup_8.yaml --runs bothsides-runs")
)
def commission_lists(
    file: File,
    joint: JointFile = None,
    book: Books = BOOKS,
    runs: Runs = None,
    json: Json = False,
) -> None:
    """Tell the punch list, overrides, hold and witness points, and cycle times with their waits."""
    from coordinator.cli.commission.pack_verb import PackAsked
    from coordinator.cli.commission.pack_verb import commission_lists as tell

    asked = PackAsked(book=book, joint=joint, runs=tuple(runs or ()))
    raise typer.Exit(tell(Output.of(json), file, asked))


@commission_app.command(
    "pack", epilog=examples("commission pack sequences/makeup_8.yaml --by ada --out hand-over")
)
def commission_pack(
    file: File,
    out: Annotated[Path, typer.Option("--out", help="A new folder.", show_default=False)],
    by: Annotated[str, typer.Option(help="Who draws it up.", show_default=False)],
    joint: JointFile = None,
    book: Books = BOOKS,
    runs: Runs = None,
    json: Json = False,
) -> None:
    """Write the hand-over pack: sheet, matrix, acceptances, lists, files, and their hashes."""
    from coordinator.cli.commission.pack_verb import PackAsked
    from coordinator.cli.commission.pack_verb import commission_pack as write

    asked = PackAsked(book=book, joint=joint, runs=tuple(runs or ()), out=out, by=by)
    raise typer.Exit(write(Output.of(json), file, asked))
