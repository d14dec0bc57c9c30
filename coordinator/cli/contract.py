"""The verb `contract`: the wire contract as documents, and what a cell's broker needs."""

import json
from pathlib import Path

from coordinator.cautions import CAUTION
from coordinator.cli.files import read_or_exit
from coordinator.cli.output import Exit, Output
from coordinator.contract.broker_config import PARTIES, BrokerWish, write_broker_config
from coordinator.contract.compatibility import breaking_changes
from coordinator.contract.document import VERSION, bodies, document, schema_of
from coordinator.sequence import read_cell


def write_contract(output: Output, folder: Path | None) -> Exit:
    """Print the AsyncAPI document, or write it with a JSON Schema for each message."""
    if folder is None:
        print(json.dumps(document(), indent=2))
        return Exit.GOOD
    try:
        folder.mkdir(parents=True, exist_ok=True)
        files = {"asyncapi.json": document()}
        files |= {f"{body.__name__}.schema.json": schema_of(body) for body in bodies()}
        for name, content in files.items():
            (folder / name).write_text(f"{json.dumps(content, indent=2)}\n", encoding="utf-8")
            output.say(f"wrote {folder / name}")
    except OSError as error:
        return output.refuse(f"{folder}: {error.strerror}; name another folder")
    output.document(ok=True, version=VERSION, files=sorted(files))
    return Exit.GOOD


def compare_contract(output: Output, older: Path) -> Exit:
    """Tell what of this version breaks parties written to an older document."""
    try:
        was = json.loads(older.read_text(encoding="utf-8"))
        found = breaking_changes(was, document())
        version = was["info"]["version"]
    except OSError as error:
        return output.refuse(f"{older}: {error.strerror}; name an asyncapi.json")
    except (ValueError, KeyError, TypeError) as error:
        return output.refuse(f"{older}: {error!r}; must be an asyncapi.json that this verb wrote")
    for line in found:
        output.say(line)
    if not found:
        output.say(f"parties written to version {version} can take part in {VERSION}")
    output.document(ok=not found, was=version, now=VERSION, breaking=list(found))
    return Exit.FINDINGS if found else Exit.GOOD


def write_broker(
    output: Output, cell_path: Path, folder: Path, host: str, port: int, *, simulated: bool
) -> Exit:
    """Write configuration, rights, passwords and certificates of a cell's broker."""
    cell = read_or_exit(output, lambda: read_cell(cell_path))
    wish = BrokerWish(
        cell=cell.cell,
        sides=tuple(cell.sides),
        hoist=cell.hoist,
        host=host,
        port=port,
        simulated=simulated,
    )
    try:
        written = write_broker_config(folder, wish)
    except OSError as error:
        return output.refuse(f"{folder}: {error.strerror}; name another folder")
    for path in written:
        output.say(f"wrote {path}")
    output.say(f"start the broker: mosquitto -c {folder / 'mosquitto.conf'}")
    output.say(f"hand each party its own folder below {folder / PARTIES}, and nobody else's")
    output.say(f"then: --broker mqtts://{host}:{port} --secrets {folder / PARTIES}")
    if simulated:
        output.say("SIMULATED: these rights let parties tell each other of simulated steel")
    output.say(CAUTION)
    output.document(ok=True, files=[str(path) for path in written])
    return Exit.GOOD
