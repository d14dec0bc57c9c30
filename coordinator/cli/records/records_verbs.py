"""The verbs below `records`, joined to the program."""

from pathlib import Path
from typing import Annotated

import typer

from coordinator.cli.options import Json, examples
from coordinator.cli.output import Output
from coordinator.cli.taking import taking
from coordinator.records.rows import RecordFilter

records_app = typer.Typer(
    no_args_is_help=True, help="Read, verify, export and judge torque records; certificates."
)
Store = Annotated[
    str,
    typer.Option("--out", help="Folder that holds records.sqlite, or a database address."),
]
RECORDS_AT = "bothsides-runs"


def wanted(
    run: Annotated[str | None, typer.Option("--run", help="Of this run.")] = None,
    joint: Annotated[str | None, typer.Option("--joint", help="Of this joint.")] = None,
    side: Annotated[str | None, typer.Option("--side", help="Of this side.")] = None,
    bolt: Annotated[int | None, typer.Option("--bolt", help="Of this bolt.")] = None,
    kind: Annotated[
        str | None, typer.Option("--kind", help="pull, confirm, check, run-up ...")
    ] = None,
    round_number: Annotated[int | None, typer.Option("--round", help="Of this round.")] = None,
    verdict: Annotated[
        str | None, typer.Option("--verdict", help="accepted, rejected or not_decidable.")
    ] = None,
    outcome: Annotated[
        str | None, typer.Option("--outcome", help="finished, faulted or interrupted.")
    ] = None,
    fault: Annotated[str | None, typer.Option("--fault", help="With this fault.")] = None,
    tool: Annotated[str | None, typer.Option("--tool", help="With this tool.")] = None,
    since: Annotated[
        str | None, typer.Option("--since", help="Not before this day or moment.")
    ] = None,
    until: Annotated[
        str | None, typer.Option("--until", help="Not after this day or moment.")
    ] = None,
    real: Annotated[
        bool | None, typer.Option("--real/--simulated", help="Only real, or only simulated ones.")
    ] = None,
) -> RecordFilter:
    """Return which records are wanted."""
    return RecordFilter(
        run=run,
        joint=joint,
        side=side,
        bolt=bolt,
        kind=kind,
        round=round_number,
        verdict=verdict,
        outcome=outcome,
        fault=fault,
        tool=tool,
        since=since,
        until=until,
        simulated=None if real is None else not real,
    )


@records_app.command(
    "list",
    epilog=examples(
        "records list --verdict rejected", "records list --joint airlift_16in_8 --bolt 3"
    ),
)
@taking(wanted)
def records_list(out: Store = RECORDS_AT, *, asked: RecordFilter, json: Json = False) -> None:
    """List torque records, one per bolt, round and attempt."""
    from coordinator.cli.records.record_verbs import list_records

    raise typer.Exit(list_records(Output.of(json), out, asked))


@records_app.command(
    "export",
    epilog=examples(
        "records export records.csv --run RUN",
        "records export records.parquet",
        note="Parquet needs an extra: pip install -e '.[parquet]'",
    ),
)
@taking(wanted)
def records_export(
    target: Annotated[Path, typer.Argument(help="File ending in .csv, .json or .parquet.")],
    out: Store = RECORDS_AT,
    *,
    asked: RecordFilter,
    json: Json = False,
) -> None:
    """Write records into a file: units in the names, same bytes from the same data."""
    from coordinator.cli.records.study_verbs import export_records

    raise typer.Exit(export_records(Output.of(json), out, asked, target))


@records_app.command(
    "re-judge",
    epilog=examples(
        "records re-judge sequences/windows/strict.yaml",
        "records re-judge sequences/windows/strict.yaml --by ada",
    ),
)
@taking(wanted)
def records_rejudge(
    windows: Annotated[Path, typer.Argument(help="A file of windows.", show_default=False)],
    out: Store = RECORDS_AT,
    by: Annotated[
        str | None, typer.Option("--by", help="Keep the outcome, under this name.")
    ] = None,
    *,
    asked: RecordFilter,
    json: Json = False,
) -> None:
    """Judge old records under new windows, beside their first verdict."""
    from coordinator.cli.records.study_verbs import rejudge_records

    raise typer.Exit(rejudge_records(Output.of(json), out, asked, windows, by))


@records_app.command(
    "look-back", epilog=examples("records look-back fore/wrench --since 2030-01-01")
)
def records_look_back(
    tool: Annotated[str, typer.Argument(help="SIDE/TOOL, such as fore/wrench.")],
    since: Annotated[str, typer.Option(help="The day since when the tool is in doubt.")],
    out: Store = RECORDS_AT,
    json: Json = False,
) -> None:
    """Name the joints that a tool has touched since a day."""
    from coordinator.cli.records.study_verbs import look_back

    raise typer.Exit(look_back(Output.of(json), out, tool, since))


@records_app.command("trends", epilog=examples("records trends", "records trends --steps"))
@taking(wanted)
def records_trends(
    out: Store = RECORDS_AT,
    *,
    asked: RecordFilter,
    steps: Annotated[
        bool, typer.Option("--steps", help="How long each step took, from the runs' journals.")
    ] = False,
    json: Json = False,
) -> None:
    """Compare joints: attempts, causes by side, make-up against break-out."""
    from coordinator.cli.records.study_verbs import show_durations, show_trends

    show = show_durations if steps else show_trends
    raise typer.Exit(show(Output.of(json), out, asked))


@records_app.command(
    "certificate", epilog=examples("records certificate RUN --file certificate.pdf")
)
def records_certificate(
    run: Annotated[str, typer.Argument(help="The run, as the list names it.")],
    target: Annotated[Path, typer.Option("--file", help="Ending in .pdf or .html.")],
    out: Store = RECORDS_AT,
    json: Json = False,
) -> None:
    """Write the certificate of a run."""
    from coordinator.cli.records.record_verbs import write_certificate

    raise typer.Exit(write_certificate(Output.of(json), out, run, target))


@records_app.command("show", epilog=examples("records show 12"))
def records_show(
    number: Annotated[int, typer.Argument(help="The record's number in the list.")],
    out: Store = RECORDS_AT,
    json: Json = False,
) -> None:
    """Show one record with its pressure and torque-angle trace."""
    from coordinator.cli.records.record_verbs import show_record

    raise typer.Exit(show_record(Output.of(json), out, number))


@records_app.command("verify", epilog=examples("records verify"))
def records_verify(
    out: Store = RECORDS_AT,
    head: Annotated[
        list[Path] | None,
        typer.Option("--head", help="A signed head that was kept elsewhere; may be repeated."),
    ] = None,
    key: Annotated[
        Path | None,
        typer.Option("--key", help="Public key of the heads; without it this user's own."),
    ] = None,
    json: Json = False,
) -> None:
    """Verify records against chain, signed heads and journals; say what was changed."""
    from coordinator.cli.records.record_verbs import verify_records

    raise typer.Exit(verify_records(Output.of(json), out, tuple(head or ()), key))
