"""The verbs that bring up a cell, or a part of one: `run`, `resume`, its parties, the page."""

from pathlib import Path
from typing import Annotated

import typer

from coordinator.cli.asked import PartyAsked, ResumeAsked, RunAsked
from coordinator.cli.options import (
    PARTY_BROKER,
    RUNS,
    File,
    Json,
    PageAt,
    PartyBroker,
    Secrets,
    examples,
)
from coordinator.cli.output import Output
from coordinator.cli.taking import taking
from coordinator.operate.secrets_folder import use_secrets

live_app = typer.Typer(rich_markup_mode=None)


@live_app.command(
    epilog=examples(
        "run sequences/makeup_8.yaml",
        "run sequences/makeup_8.yaml --speed 8 --page",
        "run sequences/makeup_8.yaml --broker mqtts://broker.site:8883 --secrets secrets --real",
        note="Exit codes: 0 complete and accepted; 1 complete, but not accepted; 3 held, "
        "stopped or aborted. While it runs, type hold, reset, restart, pause, resume, "
        "stop, abort, or an answer to a prompt.",
    )
)
@taking(RunAsked)
def run(file: File, asked: RunAsked, json: Json = False) -> None:
    """Run a sequence in real time on a bus, with simulated arms unless told otherwise."""
    from coordinator.cli.run import run_sequence

    use_secrets(asked.secrets)
    raise typer.Exit(run_sequence(Output.of(json), file, asked))


@live_app.command(
    epilog=examples(
        "resume RUN --look",
        "resume RUN",
        "resume RUN --out bothsides-runs --pinned",
        note="Nothing moves before a person restarts.",
    )
)
@taking(ResumeAsked)
def resume(
    run: Annotated[str, typer.Argument(help="Name of the run.", show_default=False)],
    asked: ResumeAsked,
    json: Json = False,
) -> None:
    """Go on with a run after a crash or a Ctrl-C: ask the arms what they did, hold, wait."""
    from coordinator.cli.resume import resume_run

    use_secrets(asked.secrets)
    raise typer.Exit(resume_run(Output.of(json), run, asked))


@live_app.command(epilog=examples("page", "page --out bothsides-runs --page-at 127.0.0.1:8090"))
def page(
    out: Annotated[
        str, typer.Option("--out", help="Folder that holds records.sqlite, or a database address.")
    ] = str(RUNS),
    page_at: PageAt = "127.0.0.1:8080",
) -> None:
    """Serve the page of records, without a run."""
    from coordinator.cli.page import serve_records

    raise typer.Exit(serve_records(Output.of(False), out, page_at))


@live_app.command(epilog=examples("operator ada --file operators.json"))
def operator(
    name: Annotated[str, typer.Argument(help="Who may act on the live page.")],
    file: Annotated[Path, typer.Option("--file", help="The file of operators.")] = Path(
        "operators.json"
    ),
) -> None:
    """Add an operator of the live page, or give a known one a new pass phrase."""
    from coordinator.cli.page import add_operator

    phrase = typer.prompt("Pass phrase", hide_input=True, confirmation_prompt=True)
    raise typer.Exit(add_operator(Output.of(False), name, phrase, file))


@live_app.command(
    epilog=examples("arm fore --sequence sequences/makeup_8.yaml --broker mqtt://127.0.0.1:1883")
)
@taking(PartyAsked)
def arm(
    side: Annotated[str, typer.Argument(help="Name of the side in the cell.")], asked: PartyAsked
) -> None:
    """Be one simulated arm on a broker."""
    from coordinator.cli.run import be_party

    use_secrets(asked.secrets)
    raise typer.Exit(be_party(side, asked))


@live_app.command(
    epilog=examples("floor --sequence sequences/makeup_8.yaml --broker mqtt://127.0.0.1:1883")
)
@taking(PartyAsked)
def floor(
    asked: PartyAsked,
    hoist_only: Annotated[
        bool, typer.Option("--hoist-only", help="The signals come from a gateway.")
    ] = False,
) -> None:
    """Be the simulated floor and hoist on a broker; takes orders such as `floor_clear no`."""
    from coordinator.cli.run import be_party

    use_secrets(asked.secrets)
    raise typer.Exit(be_party("floor", asked, hoist_only=hoist_only))


@live_app.command(
    epilog=examples(
        "gateway sequences/cells/sill_point.yaml --once",
        "gateway sequences/cells/sill_point.yaml --broker mqtts://broker.site --secrets secrets",
        note="It needs an extra: pip install -e '.[gateway]'",
    )
)
def gateway(
    cell: Annotated[Path, typer.Argument(help="A cell file with a gateway.", show_default=False)],
    broker: PartyBroker = PARTY_BROKER,
    secrets: Secrets = None,
    once: Annotated[
        bool, typer.Option("--once", help="Only show how every signal is read now; no bus.")
    ] = False,
    json: Json = False,
) -> None:
    """Bring the signals of a real floor onto the bus, from OPC UA and Modbus TCP."""
    from coordinator.cli.gateway import run_gateway

    use_secrets(secrets)
    raise typer.Exit(run_gateway(Output.of(json), cell, broker, secrets, once=once))
