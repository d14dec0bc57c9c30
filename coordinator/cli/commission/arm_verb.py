"""The verb `commission arm`: is this party fit to take part, line by line, with figures."""

import asyncio
import json
import time
from datetime import UTC, datetime
from pathlib import Path

from aiomqtt import Client, MqttError, ProtocolVersion
from rich.table import Table

from coordinator.cli.commission.asked import ArmAsked
from coordinator.cli.files import read_or_exit
from coordinator.cli.output import Exit, Output
from coordinator.commissioning.acceptance import Report, Seen, accept
from coordinator.commissioning.book import Book, BookFailed, book_path
from coordinator.commissioning.probe import Motion, Probe
from coordinator.commissioning.promotion import ACCEPTANCE
from coordinator.live.link import LinkLost, LinkUnreachable
from coordinator.live.mqtt_link import Address, MqttLink
from coordinator.operate.secrets_folder import address_for
from coordinator.sequence import read_cell
from coordinator.sequence.models.cell_model import CellModel
from coordinator.wire.codec import encode, to_time
from coordinator.wire.messages import Message
from coordinator.wire.topics import COORDINATOR, ROOT, subscriptions_of_coordinator, topic_of

CAUTION = (
    "WARNING: the arm moves on its own while it is looked at. Clear the floor, take loads and "
    "pressure away, and keep the arm's own stop within reach: what is asked here is how it holds "
    "for us, which replaces no guarding and no stop of its own."
)


def commission_arm(output: Output, side: str, asked: ArmAsked) -> Exit:
    """Look at one party on the bus; 0 every line passed, 1 not, 3 nobody could be reached."""
    cell = read_or_exit(output, lambda: read_cell(asked.cell))
    if side not in cell.sides:
        known = ", ".join(cell.sides)
        return output.refuse(f"side is '{side}', must be one of {known}; name one of them")
    if not asked.by.strip():
        return output.refuse("--by is empty, must name who carries it out and signs for it")
    output.say(CAUTION)
    try:
        report = asyncio.run(_accept(output, cell, side, asked))
    except LinkUnreachable as error:
        output.refuse(str(error))
        return Exit.HELD
    except ValueError as error:
        return output.refuse(str(error))
    if asked.out is not None and (wrong := _write(report, asked.out)):
        return output.refuse(wrong)
    if wrong := _keep(output, report, asked.book):
        return output.refuse(wrong)
    _tell(output, report, asked.out)
    return Exit.GOOD if report.is_passed else Exit.FINDINGS


async def _accept(output: Output, cell: CellModel, side: str, asked: ArmAsked) -> Report:
    address = address_for(asked.broker, COORDINATOR)
    topics = subscriptions_of_coordinator(cell.cell)
    link = MqttLink(address, cell.cell, topics, f"{ROOT}-{cell.cell}-acceptance")
    person = (lambda what: output.say(f"NOW, within a minute: {what}")) if asked.attended else None
    motions, torque = motions_of(cell, side), torque_of(cell)

    async def memory(message: Message, is_kept: bool) -> None:
        await keep_in_broker(address, cell.cell, message, is_kept=is_kept)

    probe = Probe(link, side, _clock_us, motions, torque=torque, person=person, memory=memory)

    def tell(seen: Seen) -> None:
        output.say(f"{seen.code} {seen.result}: {seen.title}{f': {seen.text}' * bool(seen.text)}")

    at = to_time(_clock_us())
    return await accept(probe, cell=cell.cell, by=asked.by, at=at, codes=asked.lines, tell=tell)


async def keep_in_broker(address: Address, cell: str, message: Message, *, is_kept: bool) -> None:
    """Let the broker keep a message, or forget it: what a coordinator never does with commands.

    Raises:
        LinkLost: LNK006, the broker did not take it.
    """
    client = Client(
        address.host,
        address.port,
        username=address.username,
        password=address.password,
        tls_context=address.trust(),
        protocol=ProtocolVersion.V5,
    )
    payload = encode(message) if is_kept else b""
    try:
        async with client:
            await client.publish(topic_of(cell, message), payload, qos=1, retain=True)
    except MqttError as error:
        raise LinkLost(f"link to {address}: {error} [LNK006]") from None


def _clock_us() -> int:
    return time.time_ns() // 1_000


def motions_of(cell: CellModel, side: str) -> list[Motion]:
    """Return what an arm can be asked to do and held in: changing its tools, by turns."""
    for name, action in cell.actions.items():
        takes = dict(action.takes)
        if action.by == "arm" and list(map(str, takes.values())) == ["tool"]:
            (parameter,) = takes
            return [Motion(name, {parameter: tool}) for tool in cell.sides[side].tools]
    return []


def torque_of(cell: CellModel) -> tuple[str, str] | None:
    """Return an action of the arms that asks for a torque, and the parameter that does."""
    for name, action in cell.actions.items():
        for parameter, kind in action.takes.items():
            if action.by == "arm" and str(kind) == "torque":
                return name, parameter
    return None


def _write(report: Report, out: Path) -> str:
    try:
        out.mkdir(parents=True, exist_ok=True)
        text = json.dumps(report.document(), indent=2) + "\n"
        (out / f"acceptance_{report.party}.json").write_text(text, encoding="utf-8")
    except OSError as error:
        return f"{out}: {error.strerror}; name another folder"
    return ""


def _keep(output: Output, report: Report, folder: Path) -> str:
    """Write the report into the book of its cell; return why not."""
    try:
        with Book.open(book_path(folder, report.cell)) as book:
            entry = book.append(report.at, ACCEPTANCE, report.by, report.document())
    except BookFailed as error:
        return str(error)
    output.say(f"evidence: {entry.reference} of {book.path}")
    return ""


def _tell(output: Output, report: Report, out: Path | None) -> None:
    table = Table("line", "what", "result", "figures", box=None, pad_edge=False)
    for one in report.seen:
        figures = ", ".join(f"{name} {value:g}" for name, value in one.figures.items())
        table.add_row(one.code, one.title, one.result, figures)
    output.people.print(table)
    what = {True: "simulated", False: "real", None: "silent"}[report.simulated]
    verdict = "passed" if report.is_passed else "not passed"
    day = datetime.now(UTC).date().isoformat()
    output.say(f"{report.party} of {report.cell} ({what}): {verdict}, {day}, by {report.by}")
    if out is not None:
        output.say(f"wrote {out / f'acceptance_{report.party}.json'}")
    output.document(ok=report.is_passed, **report.document())
