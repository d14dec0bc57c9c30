"""The program `bothsides`: one file or function per verb, joined here."""

import sys
from importlib.metadata import version
from inspect import Parameter, Signature
from pathlib import Path
from typing import Annotated

import typer

from coordinator.cli.asked import CheckAsked, DrawAsked, DryRunAsked, FuzzAsked
from coordinator.cli.commission.commission_verbs import commission_app
from coordinator.cli.live_app import live_app
from coordinator.cli.new.words import WORDS, answer_option
from coordinator.cli.options import (
    File,
    JointFile,
    Json,
    Seed,
    examples,
)
from coordinator.cli.output import Exit, Output, counted
from coordinator.cli.records.records_verbs import records_app
from coordinator.cli.taking import taking
from coordinator.cli.told_values import Verbs

app = typer.Typer(
    cls=Verbs,
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Make up and break out flanged joints with two arms: check, rehearse, run, answer for it.",
)
app.add_typer(records_app, name="records")
app.add_typer(live_app)
app.add_typer(commission_app, name="commission")


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


@app.command(
    epilog=examples(
        "check --quick sequences/*.yaml",
        "check sequences/makeup_8.yaml --causes 1",
        "check sequences/makeup_8.yaml --out broken --sarif",
        note="Exit codes: 0 every rule kept, every order proved; 1 findings; 2 unreadable input.",
    )
)
@taking(CheckAsked)
def check(
    files: Annotated[
        list[Path], typer.Argument(help="Sequences, cells, joints, cases.", show_default=False)
    ],
    asked: CheckAsked,
    json: Json = False,
) -> None:
    """Judge files by every rule, and prove sequences over every order of events."""
    from coordinator.cli.check.check_verb import check_files

    raise typer.Exit(check_files(Output.of(json or asked.sarif), files, asked))


@app.command(
    epilog=examples(
        "dryrun sequences/makeup_8.yaml --seed 1",
        "dryrun sequences/makeup_8.yaml --case sequences/cases/bolt_misplaced_6.yaml",
        "dryrun sequences/change_tools.yaml --out bothsides-runs/rehearsal",
    )
)
@taking(DryRunAsked)
def dryrun(file: File, asked: DryRunAsked, json: Json = False) -> None:
    """Rehearse a sequence on simulated arms in virtual time."""
    output = Output.of(json)
    if asked.best_order:
        from coordinator.cli.best_order import show_best_order

        raise typer.Exit(show_best_order(output, file, asked))
    from coordinator.cli.dryrun import dry_run

    raise typer.Exit(dry_run(output, file, asked))


@app.command(
    epilog=examples(
        "faults sequences/park.yaml", "faults sequences/makeup_8.yaml --cause burr --markdown"
    )
)
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
    from coordinator.cli.faults import tell_faults

    output = Output.of(json or markdown)
    output.is_json = json
    raise typer.Exit(
        tell_faults(output, file, seed=seed, causes=tuple(cause or ()), markdown=markdown)
    )


@app.command(
    epilog=examples(
        "timeline bothsides-runs/RUN --file timeline.html",
        "timeline bothsides-runs/RUN --with bothsides-runs/OTHER_RUN",
    )
)
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


@app.command(
    epilog=examples(
        "joint sequences/joints/airlift_16in_8.yaml",
        "joint sequences/joints/airlift_16in_8.yaml --figures figures",
        note="Figures need an extra: pip install -e '.[figures]'",
    )
)
def joint(
    file: Annotated[Path, typer.Argument(help="A joint file.", show_default=False)],
    figures: Annotated[
        Path | None, typer.Option("--figures", help="Draw the figures into this folder.")
    ] = None,
    calibration: Annotated[
        Path | None,
        typer.Option(
            "--calibration",
            help="CSV of a tool, columns pressure,torque with units; the pressure of each round.",
        ),
    ] = None,
    intensifier: Annotated[
        float, typer.Option("--intensifier", help="Pressure at the tool over that at the pump.")
    ] = 1.0,
    json: Json = False,
) -> None:
    """Print torque, preload and rounds of a joint, each figure with its source."""
    from coordinator.cli.joint.joint_verb import print_joint

    raise typer.Exit(
        print_joint(
            Output.of(json), file, figures, calibration=calibration, intensifier=intensifier
        )
    )


@app.command(
    epilog=examples(
        "draw sequences/makeup_8.yaml --out makeup_8.svg",
        "draw sequences/makeup_8.yaml --mermaid --unrolled --out -",
    )
)
@taking(DrawAsked)
def draw(file: File, asked: DrawAsked, json: Json = False) -> None:
    """Draw both sides beside each other with the barriers across, loops folded."""
    from coordinator.cli.draw import draw_file

    raise typer.Exit(draw_file(Output.of(json), file, asked))


@app.command(
    epilog=examples(
        "compare sequences/makeup_8.yaml sequences/makeup_12.yaml",
        "compare sequences/joints/airlift_16in_8.yaml sequences/joints/outlet_dn500_16.yaml",
        note="Exit codes: 0 the same; 1 different; 2 files that are not to be compared.",
    )
)
def compare(
    was: Annotated[Path, typer.Argument(help="A sequence, cell or joint.", show_default=False)],
    now: Annotated[Path, typer.Argument(help="Another one of its kind.", show_default=False)],
    joint: JointFile = None,
    json: Json = False,
) -> None:
    """Say what changed from one file to another, in physical words; 0 same, 1 different."""
    from coordinator.cli.compare import compare_files

    raise typer.Exit(compare_files(Output.of(json), was, now, joint))


@app.command(epilog=examples("schema sequence", "schema --out schemas", "schema --documents run"))
def schema(
    kind: Annotated[
        str | None,
        typer.Argument(
            help="cell, joint, sequence, case, windows, or a verb; all without it.",
            show_default=False,
        ),
    ] = None,
    documents: Annotated[
        bool,
        typer.Option("--documents", help="What verbs print with --json, instead of kinds of file."),
    ] = False,
    out: Annotated[
        Path | None, typer.Option("--out", help="Write files into this folder instead.")
    ] = None,
    json: Json = False,
) -> None:
    """Print the JSON Schema of a kind of file, or of what a verb prints with --json."""
    from coordinator.cli.schema import write_schemas

    raise typer.Exit(write_schemas(Output.of(json), kind, out, of_documents=documents))


@app.command(
    epilog=examples(
        "contract --out contract",
        "contract --against asyncapi.json",
        "contract sequences/cells/sill_point.yaml --broker-config broker",
    )
)
def contract(
    cell: Annotated[
        Path | None, typer.Argument(help="The cell, for its broker.", show_default=False)
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Write the documents into this folder.")
    ] = None,
    against: Annotated[
        Path | None, typer.Option("--against", help="Tell what breaks parties of this document.")
    ] = None,
    broker_config: Annotated[
        Path | None,
        typer.Option("--broker-config", help="Write what the cell's Mosquitto needs in here."),
    ] = None,
    host: Annotated[str, typer.Option(help="How parties reach the broker.")] = "localhost",
    port: Annotated[int, typer.Option(min=1, max=65535, help="Where it listens.")] = 8883,
    simulated: Annotated[
        bool, typer.Option("--simulated", help="Rights for simulated parties as well.")
    ] = False,
    json: Json = False,
) -> None:
    """Print the wire contract as AsyncAPI, or write what a cell's broker needs."""
    from coordinator.cli.contract import compare_contract, write_broker, write_contract

    output = Output.of(json)
    if (cell is None) != (broker_config is None):
        raise typer.Exit(output.refuse("a cell and --broker-config go together; give both"))
    if cell is not None and broker_config is not None:
        wish = (output, cell, broker_config, host, port)
        raise typer.Exit(write_broker(*wish, simulated=simulated))
    if against is not None:
        raise typer.Exit(compare_contract(output, against))
    raise typer.Exit(write_contract(output, out))


@app.command(
    epilog=examples(
        "fuzz sequences/makeup_8.yaml --cases 200 --workers 2",
        "fuzz sequences/makeup_8.yaml --minutes 30 --out bothsides-campaign",
        "fuzz sequences/makeup_8.yaml --on tcp://10.0.0.1:8786",
        note="Exit codes: 0 every invariant held; 1 one broke, or nothing was run; 3 stopped "
        "with Ctrl-C and nothing found. Another machine needs an extra: pip install -e "
        "'.[cluster]'",
    )
)
@taking(FuzzAsked)
def fuzz(file: File, asked: FuzzAsked, json: Json = False) -> None:
    """Attack a sequence with generated cases; every promise is judged from outside."""
    from coordinator.cli.fuzz import fuzz as run_campaign

    raise typer.Exit(run_campaign(Output.of(json), file, asked))


@app.command(
    epilog=examples(
        "replay bothsides-campaign/cases/CASE.yaml",
        "replay bothsides-campaign/cases/CASE.yaml --to-test tests/regression",
        note="Exit codes: 0 the same as when it was found; 1 otherwise.",
    )
)
def replay(
    case: Annotated[Path, typer.Argument(help="A case of a campaign.", show_default=False)],
    sequence: Annotated[
        Path | None, typer.Option(help="This sequence instead of the one in the case.")
    ] = None,
    to_test: Annotated[
        Path | None, typer.Option("--to-test", help="Make it a regression test in this folder.")
    ] = None,
    json: Json = False,
) -> None:
    """Run one saved case again: same events, same trace hash."""
    from coordinator.cli.replay import replay as replay_case

    raise typer.Exit(replay_case(Output.of(json), case, sequence, to_test))


def answers(**given: str | None) -> dict[str, str]:
    """Return the answers that were given to questions of `new`."""
    return {name: answer for name, answer in given.items() if answer is not None}


answers.__signature__ = Signature(  # type: ignore[attr-defined]  # read by `inspect`
    [
        Parameter(name, Parameter.KEYWORD_ONLY, default=None, annotation=answer_option(name))
        for name in WORDS
        if name not in ("first_side", "second_side", "hoist")
    ]
)


@app.command(
    epilog=examples(
        "new quay", "new quay --side left --side right --bolts 8 --thread M30 --grade 8.8"
    )
)
@taking(answers)
def new(
    folder: Annotated[Path, typer.Argument(help="A new or empty folder.", show_default=False)],
    side: Annotated[
        list[str] | None, typer.Option(help="Name of a side; give it twice.", show_default=False)
    ] = None,
    hoist: Annotated[
        bool | None, typer.Option(help="A hoist brings the part.", show_default=False)
    ] = None,
    *,
    asked: dict[str, str],
    json: Json = False,
) -> None:
    """Start a cell with a joint and a first sequence, from flags; what is left out is asked."""
    from coordinator.cli.new.new_verb import start_cell

    output = Output.of(json)
    if side is not None and len(side) != 2:
        raise typer.Exit(
            output.refuse(f"{counted(len(side), 'side')} given, must be two; give --side twice")
        )
    given = asked | dict(zip(("first_side", "second_side"), side or (), strict=False))
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
