"""The verbs below `records`, joined to the program."""

from pathlib import Path
from typing import Annotated

import typer

from coordinator.cli.options import Json, examples
from coordinator.cli.output import Output

records_app = typer.Typer(
    no_args_is_help=True, help="Read, verify, export and judge torque records; certificates."
)
Store = Annotated[
    str,
    typer.Option("--out", help="Folder that holds records.sqlite, or a database address."),
]
OfRun = Annotated[str | None, typer.Option("--run", help="Of this run.")]
OfJoint = Annotated[str | None, typer.Option("--joint", help="Of this joint.")]
OfSide = Annotated[str | None, typer.Option("--side", help="Of this side.")]
OfBolt = Annotated[int | None, typer.Option("--bolt", help="Of this bolt.")]
OfKind = Annotated[str | None, typer.Option("--kind", help="pull, confirm, check, run-up ...")]
OfRound = Annotated[int | None, typer.Option("--round", help="Of this round.")]
OfVerdict = Annotated[
    str | None, typer.Option("--verdict", help="accepted, rejected or not_decidable.")
]
OfOutcome = Annotated[
    str | None, typer.Option("--outcome", help="finished, faulted or interrupted.")
]
OfFault = Annotated[str | None, typer.Option("--fault", help="With this fault.")]
OfTool = Annotated[str | None, typer.Option("--tool", help="With this tool.")]
OfSince = Annotated[str | None, typer.Option("--since", help="Not before this day or moment.")]
OfUntil = Annotated[str | None, typer.Option("--until", help="Not after this day or moment.")]
Real = Annotated[
    bool | None, typer.Option("--real/--simulated", help="Only real, or only simulated ones.")
]
RECORDS_AT = "bothsides-runs"


@records_app.command(
    "list",
    epilog=examples(
        "records list --verdict rejected", "records list --joint airlift_16in_8 --bolt 3"
    ),
)
def records_list(
    out: Store = RECORDS_AT,
    run: OfRun = None,
    joint: OfJoint = None,
    side: OfSide = None,
    bolt: OfBolt = None,
    kind: OfKind = None,
    round_number: OfRound = None,
    verdict: OfVerdict = None,
    outcome: OfOutcome = None,
    fault: OfFault = None,
    tool: OfTool = None,
    since: OfSince = None,
    until: OfUntil = None,
    real: Real = None,
    json: Json = False,
) -> None:
    """List torque records, one per bolt, round and attempt."""
    from coordinator.cli.records.record_verbs import list_records
    from coordinator.records.rows import RecordFilter

    wanted = RecordFilter(
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
    raise typer.Exit(list_records(Output.of(json), out, wanted))


@records_app.command(
    "export",
    epilog=examples(
        "records export records.csv --run RUN",
        "records export records.parquet",
        note="Parquet needs an extra: pip install -e '.[parquet]'",
    ),
)
def records_export(
    target: Annotated[Path, typer.Argument(help="File ending in .csv, .json or .parquet.")],
    out: Store = RECORDS_AT,
    run: OfRun = None,
    joint: OfJoint = None,
    side: OfSide = None,
    bolt: OfBolt = None,
    kind: OfKind = None,
    round_number: OfRound = None,
    verdict: OfVerdict = None,
    outcome: OfOutcome = None,
    fault: OfFault = None,
    tool: OfTool = None,
    since: OfSince = None,
    until: OfUntil = None,
    real: Real = None,
    json: Json = False,
) -> None:
    """Write records into a file: units in the names, same bytes from the same data."""
    from coordinator.cli.records.study_verbs import export_records
    from coordinator.records.rows import RecordFilter

    wanted = RecordFilter(
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
    raise typer.Exit(export_records(Output.of(json), out, wanted, target))


@records_app.command(
    "re-judge",
    epilog=examples(
        "records re-judge sequences/windows/strict.yaml",
        "records re-judge sequences/windows/strict.yaml --by ada",
    ),
)
def records_rejudge(
    windows: Annotated[Path, typer.Argument(help="A file of windows.", show_default=False)],
    out: Store = RECORDS_AT,
    by: Annotated[
        str | None, typer.Option("--by", help="Keep the outcome, under this name.")
    ] = None,
    run: OfRun = None,
    joint: OfJoint = None,
    side: OfSide = None,
    bolt: OfBolt = None,
    kind: OfKind = None,
    round_number: OfRound = None,
    verdict: OfVerdict = None,
    outcome: OfOutcome = None,
    fault: OfFault = None,
    tool: OfTool = None,
    since: OfSince = None,
    until: OfUntil = None,
    real: Real = None,
    json: Json = False,
) -> None:
    """Judge old records under new windows, beside their first verdict."""
    from coordinator.cli.records.study_verbs import rejudge_records
    from coordinator.records.rows import RecordFilter

    wanted = RecordFilter(
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
    raise typer.Exit(rejudge_records(Output.of(json), out, wanted, windows, by))


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
def records_trends(
    out: Store = RECORDS_AT,
    run: OfRun = None,
    joint: OfJoint = None,
    side: OfSide = None,
    bolt: OfBolt = None,
    kind: OfKind = None,
    round_number: OfRound = None,
    verdict: OfVerdict = None,
    outcome: OfOutcome = None,
    fault: OfFault = None,
    tool: OfTool = None,
    since: OfSince = None,
    until: OfUntil = None,
    real: Real = None,
    steps: Annotated[
        bool, typer.Option("--steps", help="How long each step took, from the runs' journals.")
    ] = False,
    json: Json = False,
) -> None:
    """Compare joints: attempts, causes by side, make-up against break-out."""
    from coordinator.cli.records.durations import show_durations
    from coordinator.cli.records.study_verbs import show_trends
    from coordinator.records.rows import RecordFilter

    wanted = RecordFilter(
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
    if steps:
        raise typer.Exit(show_durations(Output.of(json), out, wanted))
    raise typer.Exit(show_trends(Output.of(json), out, wanted))


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
    from coordinator.cli.records.certificate import write_certificate

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
def records_verify(out: Store = RECORDS_AT, json: Json = False) -> None:
    """Verify the chain over all records."""
    from coordinator.cli.records.record_verbs import verify_records

    raise typer.Exit(verify_records(Output.of(json), out))
