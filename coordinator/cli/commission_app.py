"""The verbs below `commission`: bring a cell up, one party at a time."""

from pathlib import Path
from typing import Annotated

import typer

from coordinator.cli.options import PARTY_BROKER, Json, PartyBroker, Secrets
from coordinator.cli.output import Output
from coordinator.cli.secrets_folder import use_secrets

commission_app = typer.Typer(
    no_args_is_help=True, help="Bring a cell up: is each party fit to take part?"
)


@commission_app.command("arm")
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
    json: Json = False,
) -> None:
    """Take an arm on the bus, simulated or real, through the lines of its acceptance."""
    from coordinator.cli.commission import Wish
    from coordinator.cli.commission import commission_arm as commission

    use_secrets(secrets)
    output, lines = Output.of(json), tuple(line or ())
    wish = Wish(broker, by, out, lines, attended)
    raise typer.Exit(commission(output, cell, side, wish))
