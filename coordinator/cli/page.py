"""The verbs `page` and `operator`: serve the page of records, and name who may act on a page."""

import asyncio
import contextlib
from pathlib import Path

import uvicorn

from coordinator.cli.output import Exit, Output
from coordinator.operate.page_process import address_of, listen, served_records
from coordinator.page.feed import Feed
from coordinator.page.operators import (
    PHRASE_LENGTH_MIN,
    Operator,
    OperatorsFailed,
    Sessions,
    write_operator,
)
from coordinator.page.server import make_app


def serve_records(output: Output, place: str, at: str) -> Exit:
    """Serve the page of records until interrupted."""
    try:
        bound = listen(at)
    except ValueError as error:
        return output.refuse(str(error))
    output.say(f"records of {place if '://' not in place else 'the database'}: {address_of(bound)}")
    config = uvicorn.Config(
        make_app(served_records(place, Feed(), Sessions({}))), log_level="warning", lifespan="off"
    )
    with contextlib.suppress(KeyboardInterrupt):
        asyncio.run(uvicorn.Server(config).serve(sockets=[bound]))
    return Exit.GOOD


def add_operator(output: Output, name: str, phrase: str, path: Path) -> Exit:
    """Put an operator into a file."""
    if len(phrase) < PHRASE_LENGTH_MIN:
        return output.refuse(f"pass phrase must have at least {PHRASE_LENGTH_MIN} characters")
    if not name.isprintable() or not name.strip():
        return output.refuse("name must be printable text")
    try:
        write_operator(path, Operator.of(name, phrase))
    except OperatorsFailed as error:
        return output.refuse(str(error))
    output.say(f"{name} may act on the page of a run with --operators {path}")
    return Exit.GOOD
