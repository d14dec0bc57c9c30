"""The verb `commission points`: the point-check sheet, filled from the bus or by a person's word.

Units: ``*_s`` seconds of the wall.
"""

import asyncio
import contextlib
import time
from collections.abc import Sequence
from pathlib import Path

from rich.table import Table

from coordinator.cli.commission.asked import PointsAsked
from coordinator.cli.files import load_sequence
from coordinator.cli.output import Exit, Output, counted
from coordinator.commissioning.book import Book, Entry, book_path, read_book
from coordinator.commissioning.point_watch import PointWatch, Sighting
from coordinator.commissioning.points import Point, parties_of, points_of
from coordinator.commissioning.sheet import SEEN, Row, sheet_of, sighting
from coordinator.live.link import Delivered, LinkUnreachable
from coordinator.live.mqtt_link import MqttLink
from coordinator.operate.secrets_folder import address_for
from coordinator.sequence import Loaded
from coordinator.wire.codec import to_time
from coordinator.wire.topics import COORDINATOR, ROOT, subscriptions_of_coordinator

LOOK_S = 0.25
"""Chosen: how often we look whether something has grown too old."""


def commission_points(output: Output, path: Path, asked: PointsAsked) -> Exit:
    """Show the sheet, filled first if that is asked for; 0 every point checked, 1 not."""
    loaded = load_sequence(output, path, asked.joint)
    points, at = points_of(loaded), book_path(asked.book, loaded.cell.cell)
    if wrong := _what_is_wrong(loaded, points, asked):
        return output.refuse(wrong)
    try:
        if asked.enter:
            with Book.open(at) as book:
                _enter(book, loaded, points, asked)
        if asked.broker is not None:
            with contextlib.suppress(KeyboardInterrupt):
                asyncio.run(_Watching(output, at, loaded, asked).watch())
        entries = read_book(at)
    except LinkUnreachable as error:
        output.refuse(str(error))
        return Exit.HELD
    except ValueError as error:
        return output.refuse(str(error))
    return _tell(output, loaded, _rows(points, entries, asked), at)


def _what_is_wrong(loaded: Loaded, points: Sequence[Point], asked: PointsAsked) -> str:
    known = parties_of(loaded)
    for party in asked.parties:
        if party not in known:
            return f"--party is '{party}', must be one of {', '.join(known)}; name one of them"
    if (asked.enter or asked.broker) and not asked.by.strip():
        return "--by is empty, must name who looks and signs for it"
    if asked.enter and not asked.why.strip():
        return "--why is empty, must say how the point was seen otherwise than on the bus"
    expected = {one.tag: one.expected for one in points}
    for text in asked.enter:
        tag, _, state = text.partition("=")
        if tag not in expected:
            return f"--enter names '{tag}', must be a tag of the sheet such as {points[0].tag}"
        if state not in expected[tag]:
            words = ", ".join(expected[tag])
            return f"--enter says '{tag}' is '{state}', must be one of {words}"
    return ""


def _rows(points: Sequence[Point], entries: Sequence[Entry], asked: PointsAsked) -> tuple[Row, ...]:
    wanted = [one for one in points if not asked.parties or one.party in asked.parties]
    return sheet_of(wanted, entries, real_only=not asked.simulated)


def _enter(book: Book, loaded: Loaded, points: Sequence[Point], asked: PointsAsked) -> None:
    by_tag = {one.tag: one for one in points}
    for text in asked.enter:
        tag, _, state = text.partition("=")
        body = sighting(by_tag[tag], state, loaded.files, how="person", why=asked.why)
        book.append(to_time(time.time_ns() // 1_000), SEEN, asked.by, body)


class _Watching:
    """Writes down what the bus shows, until everything is seen or the time is over."""

    def __init__(self, output: Output, at: Path, loaded: Loaded, asked: PointsAsked) -> None:
        self._output = output
        self._at = at
        self._entries = read_book(at)
        self._loaded = loaded
        self._asked = asked
        self._points = {one.tag: one for one in points_of(loaded)}
        self._watch = PointWatch(loaded.cell, tuple(self._points.values()))

    async def watch(self) -> None:
        """Listen; nothing is sent, not even that we are there.

        Raises:
            LinkUnreachable: LNK005.
        """
        cell = self._loaded.cell.cell
        address = address_for(self._asked.broker or "", COORDINATOR)
        link = MqttLink(address, cell, subscriptions_of_coordinator(cell), f"{ROOT}-{cell}-points")
        await link.open()
        self._output.say(f"listening for {self._asked.seconds:g} s; nothing is sent")
        end_s = time.monotonic() + self._asked.seconds
        waiting = asyncio.ensure_future(link.wait_delivered())
        try:
            while time.monotonic() < end_s and self._is_wanting():
                await asyncio.wait([waiting], timeout=LOOK_S)
                now_us = time.time_ns() // 1_000
                if waiting.done():
                    for one in waiting.result():
                        if isinstance(one, Delivered):
                            self._take(self._watch.hear(one.message, one.retained, now_us))
                    waiting = asyncio.ensure_future(link.wait_delivered())
                self._take(self._watch.pass_time(now_us))
        finally:
            waiting.cancel()
            await asyncio.gather(waiting, return_exceptions=True)
            await link.close()

    def _is_wanting(self) -> bool:
        rows = _rows(tuple(self._points.values()), self._entries, self._asked)
        return any(row.result != "checked" for row in rows)

    def _take(self, found: Sequence[Sighting]) -> None:
        for one in found:
            if not self._is_wanted(one) or self._is_known(one):
                continue
            point, word = self._points[one.tag], one.simulated
            body = sighting(point, one.state, self._loaded.files, how="bus", simulated=word)
            # Let go at once: acceptance and runs write into the same book meanwhile.
            with Book.open(self._at) as book:
                book.append(to_time(one.at_us), SEEN, self._asked.by, body)
                self._entries = book.entries
            who = {
                True: ", SIMULATED",
                False: "",
                None: ", by a party that has not said what it is",
            }
            self._output.say(f"seen: {one.tag} is {one.state}{who[word]}")

    def _is_wanted(self, found: Sighting) -> bool:
        return not self._asked.parties or found.tag.partition("/")[0] in self._asked.parties

    def _is_known(self, found: Sighting) -> bool:
        digest = self._points[found.tag].digest
        return any(
            one.kind == SEEN
            and (one.body["tag"], one.body["state"]) == (found.tag, found.state)
            and one.body["point"] == digest
            and one.body.get("simulated", False) is found.simulated
            and one.body["how"] == "bus"
            for one in self._entries
        )


def _tell(output: Output, loaded: Loaded, rows: Sequence[Row], at: Path) -> Exit:
    table = Table("tag", "state expected", "seen", "by", "when", box=None, pad_edge=False)
    for row in rows:
        for one in row.shown:
            how = one.how or ("outdated" if row.is_outdated else "NOT SEEN")
            table.add_row(row.point.tag, one.state, how, one.by, one.at[:19])
    output.people.print(table)
    left = [row for row in rows if row.result != "checked"]
    output.say(f"{len(rows) - len(left)} of {counted(len(rows), 'point')} checked, book {at}")
    for row in left:
        output.say(f"{row.result}: {row.point.tag}, not seen {', '.join(row.missing)}")
    output.document(
        ok=not left,
        cell=loaded.cell.cell,
        files=dict(loaded.files),
        points=[row.document() for row in rows],
    )
    return Exit.FINDINGS if left else Exit.GOOD
