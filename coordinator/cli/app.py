"""The program `bothsides`: one file or function per verb, joined here."""

import sys
from importlib.metadata import version
from pathlib import Path
from typing import Annotated

import typer

from coordinator.cli.output import Exit, Output
from coordinator.cli.records_app import records_app

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Make up and break out flanged joints with two arms: check, rehearse, run, answer for it.",
)
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
RUNS = Path("bothsides-runs")
PageAt = Annotated[str, typer.Option("--page-at", help="HOST:PORT of the page; port 0 for any.")]
Operators = Annotated[
    Path | None, typer.Option("--operators", help="Who may act on the page; nobody without it.")
]


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
        )
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
    page: Annotated[bool, typer.Option("--page", help="Serve the live page.")] = False,
    page_at: PageAt = "127.0.0.1:8080",
    operators: Operators = None,
    json: Json = False,
) -> None:
    """Run a sequence in real time on a bus, with simulated arms unless told otherwise."""
    from coordinator.cli.run import run_sequence
    from coordinator.cli.run_page import PageWish

    place = str(out)
    wish = PageWish(page_at, operators, place, file, joint, seed) if page else None
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
            page=wish,
        )
    )


@app.command()
def page(
    out: Annotated[
        str, typer.Option("--out", help="Folder that holds records.sqlite, or a database address.")
    ] = str(RUNS),
    page_at: PageAt = "127.0.0.1:8080",
) -> None:
    """Serve the page of records, without a run."""
    from coordinator.cli.page_process import serve_records

    raise typer.Exit(serve_records(Output.of(False), out, page_at))


@app.command()
def timeline(
    folder: Annotated[Path, typer.Argument(help="A run's folder.", show_default=False)],
    other: Annotated[
        Path | None, typer.Option("--with", help="Another run, to find the first difference.")
    ] = None,
    file: Annotated[
        Path | None, typer.Option("--file", help="Write it here, ending in .svg or .html.")
    ] = None,
    json: Json = False,
) -> None:
    """Tell who waited for whom in a run, and what set the pace."""
    from coordinator.cli.timeline import show_timeline

    raise typer.Exit(show_timeline(Output.of(json), folder, other, file))


@app.command()
def operator(
    name: Annotated[str, typer.Argument(help="Who may act on the live page.")],
    file: Annotated[Path, typer.Option("--file", help="The file of operators.")] = Path(
        "operators.json"
    ),
) -> None:
    """Add an operator of the live page, or give a known one a new pass phrase."""
    from coordinator.cli.page_process import add_operator

    phrase = typer.prompt("Pass phrase", hide_input=True, confirmation_prompt=True)
    raise typer.Exit(add_operator(Output.of(False), name, phrase, file))


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
        typer.Argument(
            help="cell, joint, sequence, case or windows; all without it.", show_default=False
        ),
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


def main() -> None:
    """Run the program."""
    try:
        app()
    except KeyboardInterrupt:
        sys.exit(Exit.HELD)


if __name__ == "__main__":
    main()
