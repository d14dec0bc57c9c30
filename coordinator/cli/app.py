"""The program `bothsides`: one file or function per verb, joined here."""

import sys
from importlib.metadata import version
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


def _tell_version(asked: bool) -> None:
    """Print the version and leave, if asked."""
    if asked:
        print(f"bothsides {version('bothsides')}")
        raise typer.Exit(Exit.GOOD)


@app.callback()
def begin(
    _: Annotated[
        bool,
        typer.Option("--version", help="Tell the version.", callback=_tell_version, is_eager=True),
    ] = False,
) -> None:
    """Take what stands before the verb."""


@app.command()
def check(
    files: Annotated[
        list[Path], typer.Argument(help="Sequences, cells, joints, cases.", show_default=False)
    ],
    quick: Annotated[bool, typer.Option("--quick", help="Rules only, no proof.")] = False,
    causes: Annotated[
        int, typer.Option(min=0, max=3, help="How many things may go wrong in one run.")
    ] = 2,
    states: Annotated[
        int, typer.Option(min=1, help="Give the proof up after so many states.")
    ] = 2_000_000,
    joint: JointFile = None,
    fix: Annotated[
        bool, typer.Option("--fix", help="Put the files into the house's layout first.")
    ] = False,
    json: Json = False,
    sarif: Annotated[
        bool, typer.Option("--sarif", help="Findings as a SARIF document on stdout.")
    ] = False,
) -> None:
    """Judge files by every rule, and prove sequences over every order of events."""
    from coordinator.cli.check import Asked, check_files

    output = Output.of(json or sarif)
    asked = Asked(quick, fix, sarif, joint, causes, states)
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
def draw(
    file: File,
    joint: JointFile = None,
    mermaid: Annotated[bool, typer.Option("--mermaid", help="Mermaid text, not SVG.")] = False,
    unrolled: Annotated[
        bool, typer.Option("--unrolled", help="Every bolt, pair and round by itself.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="This file, not one of the sequence's name here; - for stdout."),
    ] = None,
    json: Json = False,
) -> None:
    """Draw both sides beside each other with the barriers across, loops folded."""
    from coordinator.cli.draw import Drawing, draw_file

    asked = Drawing(joint=joint, mermaid=mermaid, unrolled=unrolled, out=out)
    raise typer.Exit(draw_file(Output.of(json), file, asked))


@app.command()
def compare(
    was: Annotated[Path, typer.Argument(help="A sequence, cell or joint.", show_default=False)],
    now: Annotated[Path, typer.Argument(help="Another one of its kind.", show_default=False)],
    json: Json = False,
) -> None:
    """Say what changed from one file to another, in physical words; 0 same, 1 different."""
    from coordinator.cli.compare import compare_files

    raise typer.Exit(compare_files(Output.of(json), was, now))


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


Told = Annotated[str | None, typer.Option(show_default=False)]


@app.command()
def new(
    asked: typer.Context,
    folder: Annotated[Path, typer.Argument(help="A new or empty folder.", show_default=False)],
    side: Annotated[
        list[str] | None, typer.Option(help="Name of a side; give it twice.", show_default=False)
    ] = None,
    hoist: Annotated[
        bool | None, typer.Option(help="A hoist brings the part.", show_default=False)
    ] = None,
    signals: Annotated[
        str | None, typer.Option(help="Such as 'floor_clear:trip, gate_shut:interlock'.")
    ] = None,
    bolts: Told = None,
    thread: Told = None,
    grade: Told = None,
    bolt_circle: Told = None,
    grip: Told = None,
    engagement: Told = None,
    hex_across_flats: Annotated[str | None, typer.Option("--hex", show_default=False)] = None,
    stress: Told = None,
    friction: Told = None,
    rounds: Told = None,
    wrench_torque: Told = None,
    spinner_torque: Told = None,
    sockets: Told = None,
    calibrated: Told = None,
    calibration_due: Told = None,
    loosening_torque: Told = None,
    balance: Told = None,
    text: Told = None,
    json: Json = False,
) -> None:
    """Start a cell with a joint and a first sequence, from flags; what is left out is asked."""
    from coordinator.cli.new import start_cell

    output = Output.of(json)
    if side is not None and len(side) != 2:
        raise typer.Exit(
            output.refuse(f"{len(side)} sides are given, must be two; give --side twice")
        )
    given = {name: value for name, value in asked.params.items() if isinstance(value, str)}
    given |= dict(zip(("first_side", "second_side"), side or (), strict=False))
    if hoist is not None:
        given["hoist"] = "yes" if hoist else "no"
    raise typer.Exit(start_cell(output, folder, given))


Store = Annotated[Path, typer.Option("--out", help="Folder that holds records.sqlite.")]


@records_app.command("list")
def records_list(
    out: Store = RUNS,
    run: Annotated[str | None, typer.Option(help="Of this run.")] = None,
    joint: Annotated[str | None, typer.Option(help="Of this joint, over all its runs.")] = None,
    bolt: Annotated[int | None, typer.Option(help="Of this bolt.")] = None,
    kind: Annotated[str | None, typer.Option(help="pull, confirm, check, run-up ...")] = None,
    verdict: Annotated[str | None, typer.Option(help="accepted, rejected ...")] = None,
    json: Json = False,
) -> None:
    """List torque records, one per bolt, round and attempt."""
    from coordinator.cli.records import list_records
    from coordinator.records.rows import RecordFilter

    wanted = RecordFilter(run=run, joint=joint, bolt=bolt, kind=kind, verdict=verdict)
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
