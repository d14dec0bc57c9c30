"""What several verbs take, each said once."""

from pathlib import Path
from typing import Annotated

import typer

from coordinator.core.plan import Mode

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
TakeOver = Annotated[
    bool, typer.Option("--take-over", help="Take the cell from a coordinator that is gone.")
]
Out = Annotated[Path, typer.Option("--out", help="Folder for journals and records.")]
RUNS = Path("bothsides-runs")
Books = Annotated[
    Path,
    typer.Option("--book", envvar="BOTHSIDES_BOOK", help="Folder of the commissioning books."),
]
BOOKS = Path("bothsides-commissioning")
RunBooks = Annotated[
    Path | None,
    typer.Option(
        "--book",
        envvar="BOTHSIDES_BOOK",
        help="Folder of the commissioning books; a run adds itself to the book of its cell.",
    ),
]
Records = Annotated[
    str | None,
    typer.Option(
        "--records",
        help="Database of the records, such as postgresql+psycopg://HOST/NAME; a file without it.",
    ),
]
LookAhead = Annotated[
    int,
    typer.Option(
        min=0, max=20, help="How often each answer to a prompt is tried beforehand; 0 for never."
    ),
]
ModeWord = Annotated[
    Mode,
    typer.Option(
        "--mode", help="How far it goes by itself; outside automatic a person allows each step."
    ),
]
CapTorque = Annotated[
    float | None,
    typer.Option("--cap-torque", min=0.0, help="No torque above this, in N·m; 0: none."),
]
CapSpeed = Annotated[
    float, typer.Option("--cap-speed", min=0.05, max=1.0, help="Share of full speed.")
]
PageAt = Annotated[str, typer.Option("--page-at", help="HOST:PORT of the page; port 0 for any.")]
Operators = Annotated[
    Path | None, typer.Option("--operators", help="Who may act on the page; nobody without it.")
]
HoldFrom = Annotated[
    list[str] | None,
    typer.Option(
        "--hold-from",
        metavar="ADDRESS",
        help="Console whose page may hold without sign-in, by its address; several times.",
    ),
]
Broker = Annotated[
    str | None,
    typer.Option(
        help="mqtt://host:port or mqtts://host:port; without it a broker is started here."
    ),
]
Secrets = Annotated[
    Path | None,
    typer.Option(
        "--secrets",
        envvar="BOTHSIDES_SECRETS",
        help="Folder of passwords, as `contract --broker-config` writes it; one folder a party.",
    ),
]
PartyBroker = Annotated[str, typer.Option("--broker", help="mqtt://host:port or mqtts://host:port")]
PARTY_BROKER = "mqtt://127.0.0.1:1883"


def examples(*commands: str, note: str = "") -> str:
    """Return the end of a verb's help: commands as they are typed, then what else is special."""
    # The sign before the block keeps its lines from being filled like text.
    shown = "\n".join(f"  bothsides {one}" for one in commands)
    return f"\b\nExamples:\n{shown}" + (f"\n\n{note}" if note else "")
