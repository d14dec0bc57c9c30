"""The program `bothsides`: one file or function per verb, joined here."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from coordinator.cli.output import Exit, Output
from coordinator.core.plan import Caps, Mode

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Make up and break out flanged joints with two arms: check, rehearse, run, answer for it.",
)
records_app = typer.Typer(no_args_is_help=True, help="Read and verify torque records.")
app.add_typer(records_app, name="records")

File = Annotated[Path, typer.Argument(help="A sequence file.", show_default=False)]
Json = Annotated[bool, typer.Option("--json", help="One JSON document on stdout, text on stderr.")]
Seed = Annotated[int, typer.Option(help="Of everything random in the simulated world.")]
JointFile = Annotated[
    Path | None, typer.Option("--joint", help="A joint instead of the one that the file names.")
]
CaseFile = Annotated[Path | None, typer.Option("--case", help="What goes wrong, and when.")]
Answers = Annotated[
    Path | None, typer.Option("--answer", help="What people answer and do, from a file.")
]
Out = Annotated[Path, typer.Option("--out", help="Folder for journals and records.")]
LookAhead = Annotated[
    int,
    typer.Option(
        min=0, max=20, help="How often each answer to a prompt is tried beforehand; 0 for never."
    ),
]
ModeWord = Annotated[Mode, typer.Option("--mode", help="How far it goes by itself.")]
CapTorque = Annotated[
    float | None, typer.Option("--cap-torque", min=1.0, help="No torque above this, in N·m.")
]
CapSpeed = Annotated[
    float, typer.Option("--cap-speed", min=0.05, max=1.0, help="Share of full speed.")
]
RUNS = Path("bothsides-runs")


@app.command()
def check(
    files: Annotated[
        list[Path], typer.Argument(help="Sequences, cells, joints, cases.", show_default=False)
    ],
    quick: Annotated[bool, typer.Option("--quick", help="Rules only, no proof.")] = False,
    joint: JointFile = None,
    fix: Annotated[
        bool, typer.Option("--fix", help="Put the files into the house's layout first.")
    ] = False,
    json: Json = False,
    sarif: Annotated[
        bool, typer.Option("--sarif", help="Findings as a SARIF document on stdout.")
    ] = False,
) -> None:
    """Judge files by every rule; nothing is started."""
    from coordinator.cli.check import Asked, check_files

    output = Output.of(json or sarif)
    asked = Asked(quick=quick, fix=fix, sarif=sarif, joint=joint)
    raise typer.Exit(check_files(output, files, asked))


@app.command()
def dryrun(
    file: File,
    joint: JointFile = None,
    seed: Seed = 1,
    case: CaseFile = None,
    answer: Answers = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for trace, notices and records.")
    ] = None,
    look_ahead: LookAhead = 3,
    mode: ModeWord = Mode.AUTOMATIC,
    cap_torque: CapTorque = None,
    cap_speed: CapSpeed = 1.0,
    json: Json = False,
) -> None:
    """Rehearse a sequence on simulated arms in virtual time."""
    from coordinator.cli.dryrun import dry_run

    raise typer.Exit(
        dry_run(
            Output.of(json),
            file,
            joint=joint,
            seed=seed,
            case_path=case,
            answer_path=answer,
            out=out,
            look_ahead=look_ahead,
            mode=mode,
            caps=Caps(cap_torque, cap_speed),
        )
    )


@app.command()
def faults(
    file: File,
    seed: Seed = 1,
    cause: Annotated[
        list[str] | None, typer.Option("--cause", help="Only this cause; may be repeated.")
    ] = None,
    markdown: Annotated[bool, typer.Option("--markdown", help="As a Markdown table.")] = False,
    json: Json = False,
) -> None:
    """Print the failure-mode table of a sequence; every row is found by rehearsing it."""
    from coordinator.cli.fault_table import tell_faults

    output = Output.of(json or markdown)
    output.is_json = json
    raise typer.Exit(
        tell_faults(output, file, seed=seed, causes=tuple(cause or ()), markdown=markdown)
    )


@app.command()
def run(
    file: File,
    joint: JointFile = None,
    seed: Seed = 1,
    case: CaseFile = None,
    answer: Answers = None,
    out: Out = RUNS,
    broker: Annotated[
        str | None, typer.Option(help="mqtt://host:port; without it a broker is started here.")
    ] = None,
    real: Annotated[
        bool, typer.Option("--real", help="The parties are on the broker already.")
    ] = False,
    speed: Annotated[
        float, typer.Option(min=0.1, max=50, help="How much faster than life; simulated only.")
    ] = 1.0,
    look_ahead: LookAhead = 3,
    mode: ModeWord = Mode.AUTOMATIC,
    cap_torque: CapTorque = None,
    cap_speed: CapSpeed = 1.0,
    json: Json = False,
) -> None:
    """Run a sequence in real time on a bus, with simulated arms unless told otherwise."""
    from coordinator.cli.run import run_sequence

    raise typer.Exit(
        run_sequence(
            Output.of(json),
            file,
            joint=joint,
            seed=seed,
            case_path=case,
            answer_path=answer,
            out=out,
            broker=broker,
            real=real,
            speed=speed,
            look_ahead=look_ahead,
            mode=mode,
            caps=Caps(cap_torque, cap_speed),
        )
    )


@app.command()
def arm(
    side: Annotated[str, typer.Argument(help="Name of the side in the cell.")],
    sequence: Annotated[Path, typer.Option(help="The sequence whose cell it stands in.")],
    joint: JointFile = None,
    broker: Annotated[str, typer.Option(help="mqtt://host:port")] = "mqtt://127.0.0.1:1883",
    seed: Seed = 1,
    case: CaseFile = None,
    out: Out = RUNS,
) -> None:
    """Be one simulated arm on a broker."""
    from coordinator.cli.run import be_party

    raise typer.Exit(
        be_party(side, sequence, broker, joint=joint, seed=seed, case_path=case, out=out)
    )


@app.command()
def floor(
    sequence: Annotated[Path, typer.Option(help="The sequence whose cell it stands in.")],
    joint: JointFile = None,
    broker: Annotated[str, typer.Option(help="mqtt://host:port")] = "mqtt://127.0.0.1:1883",
    seed: Seed = 1,
    case: CaseFile = None,
    out: Out = RUNS,
) -> None:
    """Be the simulated floor and hoist on a broker; takes orders such as `floor_clear no`."""
    from coordinator.cli.run import be_party

    raise typer.Exit(
        be_party("floor", sequence, broker, joint=joint, seed=seed, case_path=case, out=out)
    )


@app.command()
def joint(
    file: Annotated[Path, typer.Argument(help="A joint file.", show_default=False)],
    json: Json = False,
) -> None:
    """Print torque and preload figures of a joint, each with its source."""
    from coordinator.cli.joint import print_joint

    raise typer.Exit(print_joint(Output.of(json), file))


@app.command()
def schema(
    kind: Annotated[
        str | None,
        typer.Argument(help="cell, joint, sequence or case; all without it.", show_default=False),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Write files into this folder instead.")
    ] = None,
    json: Json = False,
) -> None:
    """Print the JSON Schema of a kind of file, for hover and completion in editors."""
    from coordinator.cli.schema import write_schemas

    raise typer.Exit(write_schemas(Output.of(json), kind, out))


Store = Annotated[Path, typer.Option("--out", help="Folder that holds records.sqlite.")]


@records_app.command("list")
def records_list(
    out: Store = RUNS,
    run: Annotated[str | None, typer.Option(help="Of this run.")] = None,
    bolt: Annotated[int | None, typer.Option(help="Of this bolt.")] = None,
    kind: Annotated[str | None, typer.Option(help="pull, confirm, check, run-up ...")] = None,
    verdict: Annotated[str | None, typer.Option(help="accepted, rejected ...")] = None,
    json: Json = False,
) -> None:
    """List torque records, one per bolt, round and attempt."""
    from coordinator.cli.records import list_records
    from coordinator.records.rows import RecordFilter

    wanted = RecordFilter(run=run, bolt=bolt, kind=kind, verdict=verdict)
    raise typer.Exit(list_records(Output.of(json), out, wanted))


@records_app.command("show")
def records_show(
    number: Annotated[int, typer.Argument(help="The record's number in the list.")],
    out: Store = RUNS,
    json: Json = False,
) -> None:
    """Show one record with its pressure and torque-angle trace."""
    from coordinator.cli.records import show_record

    raise typer.Exit(show_record(Output.of(json), out, number))


@records_app.command("verify")
def records_verify(out: Store = RUNS, json: Json = False) -> None:
    """Verify the chain over all records."""
    from coordinator.cli.records import verify_records

    raise typer.Exit(verify_records(Output.of(json), out))


def main() -> None:
    """Run the program."""
    try:
        app()
    except KeyboardInterrupt:
        sys.exit(Exit.HELD)


if __name__ == "__main__":
    main()
