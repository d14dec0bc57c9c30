"""The verbs below `commission`: bring a cell up, one party at a time."""

from pathlib import Path
from typing import Annotated

import typer

from coordinator.cli.commission.asked import ArmAsked, MatrixAsked, PackAsked, PointsAsked
from coordinator.cli.options import File, Json, examples
from coordinator.cli.output import Output
from coordinator.cli.taking import taking
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
@taking(ArmAsked)
def commission_arm(
    side: Annotated[str, typer.Argument(help="Name of the side in the cell.", show_default=False)],
    asked: ArmAsked,
    json: Json = False,
) -> None:
    """Take an arm on the bus, simulated or real, through the lines of its acceptance."""
    from coordinator.cli.commission.arm_verb import commission_arm as commission

    use_secrets(asked.secrets)
    raise typer.Exit(commission(Output.of(json), side, asked))


@commission_app.command(
    "points",
    epilog=examples(
        "commission points sequences/makeup_8.yaml",
        "commission points sequences/makeup_8.yaml --broker mqtt://127.0.0.1:1883 --by ada",
    ),
)
@taking(PointsAsked)
def commission_points(file: File, asked: PointsAsked, json: Json = False) -> None:
    """Show the point-check sheet of the files; --broker fills it from what the bus says."""
    from coordinator.cli.commission.points_verb import commission_points as check

    use_secrets(asked.secrets)
    raise typer.Exit(check(Output.of(json), file, asked))


@commission_app.command(
    "matrix",
    epilog=examples(
        "commission matrix sequences/makeup_8.yaml --drill --file matrix.html",
        "commission matrix sequences/makeup_8.yaml --runs bothsides-runs --real",
    ),
)
@taking(MatrixAsked)
def commission_matrix(file: File, asked: MatrixAsked, json: Json = False) -> None:
    """Show the cause-and-effect matrix of the files, ticked from journals alone."""
    from coordinator.cli.commission.matrix_verb import commission_matrix as show

    raise typer.Exit(show(Output.of(json), file, asked))


@commission_app.command(
    "lists", epilog=examples("commission lists sequences/makeup_8.yaml --runs bothsides-runs")
)
@taking(PackAsked)
def commission_lists(file: File, asked: PackAsked, json: Json = False) -> None:
    """Tell the punch list, overrides, hold and witness points, and cycle times with their waits."""
    from coordinator.cli.commission.pack_verb import commission_lists as tell

    raise typer.Exit(tell(Output.of(json), file, asked))


@commission_app.command(
    "pack", epilog=examples("commission pack sequences/makeup_8.yaml --by ada --out hand-over")
)
@taking(PackAsked)
def commission_pack(
    file: File,
    out: Annotated[Path, typer.Option("--out", help="A new folder.", show_default=False)],
    by: Annotated[str, typer.Option(help="Who draws it up.", show_default=False)],
    asked: PackAsked,
    json: Json = False,
) -> None:
    """Write the hand-over pack: sheet, matrix, acceptances, lists, files, and their hashes."""
    from coordinator.cli.commission.pack_verb import commission_pack as write

    raise typer.Exit(write(Output.of(json), file, asked, out, by))
