"""Measure what the coordinator adds to its bus, beside the broker alone and a naive script.

Run with ``python -m tests.bench.bench_latency``; prints ratios and asserts no time.

Three figures, all in one run on one Mosquitto, with coordinator, arms and floor each a process:
from a step done to the next command, from a floor signal gone bad to the command to hold, and how
far apart two arms start what they begin together. Ours is the product's own runtime with its link,
its journal on the disk and all its checks. The naive script keeps no journal and checks nothing: it
answers each report with the next command, and tells both arms to go one after the other. A round
trip is a message through the broker and its echo back, with nothing decided; less is impossible.

From a step done to the next command is printed in its parts as well: the report on its way (the
arm's own loop and socket, the broker, our decoding), deciding, the journal's sync, and the command
on its way. The two ways together are a round trip that has our checks at both ends; both arms end
their steps in the same moment here, so that on two cores four processes share them, and the later
report waits for the earlier one's decision. The sync is the disk's own time (`fdatasync`) and
stays: a command that left before it could be forgotten by a crash. What was needless is gone: no
decision waits any more for the broker to acknowledge the last one's commands.

Broker and clients send at once (TCP_NODELAY), as our own links do. Where either waits to fill a
packet, Nagle's rule and delayed acknowledgement add some 40 ms each way and hide all the rest.
"""

import argparse
import asyncio
import contextlib
import json
import os
import signal
import socket
import statistics
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from pathlib import Path

import aiomqtt

from tests.bench.bus_rig import (
    SIDES,
    Note,
    Stamp,
    Work,
    coordinate,
    notes_of,
    noting,
    parties,
)
from tests.bench.results import Results
from tests.support.brokers import MOSQUITTO, free_port, wait_listening
from tests.support.kill_everything import fork

AT_ONCE = [(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)]
STEP_S = 0.05
CLEAR_S, OCCUPIED_S = 1.5, 0.3
PATIENCE_S = 30.0
NAMES = {
    "next": "step done to next command",
    "hold": "floor unsafe to hold command",
    "start": "difference of starts at a barrier",
}
PARTS = ("report on its way", "deciding", "journal's sync", "command on its way")
Times = dict[str, list[float]]


def ours(folder: Path, port: int, rounds: int) -> tuple[Times, Times]:
    """Run the product and return what it took, and the parts of a next command, seconds."""
    stamps: list[Stamp] = []
    with parties(folder, port, Work(STEP_S), clear_s=CLEAR_S, occupied_s=OCCUPIED_S):
        asyncio.run(coordinate(folder, port, rounds, stamps=stamps))
    arms = {side: notes_of(folder / f"{side}.notes") for side in SIDES}
    floor = [at_s for at_s, what, _ in notes_of(folder / "floor.notes") if what == "occupied"]
    nexts = [gap for notes in arms.values() for gap in gaps(notes, "finished", "do")]
    holds = [gap for notes in arms.values() for gap in holds_after(floor, notes)]
    starts = [[one for _, what, one in arms[side] if what == "started"] for side in SIDES]
    return {"next": nexts, "hold": holds, "start": differences(*starts)}, parts(arms, stamps)


def parts(arms: dict[str, list[Note]], stamps: Sequence[Stamp]) -> Times:
    """Return the parts of the time from each step done to the next command, by name."""
    moments = {(one.what, one.party, one.command): one.at_s for one in reversed(stamps)}
    syncs = [one for one in stamps if one.what == "sync"]
    found: Times = {name: [] for name in PARTS}
    for side, notes in arms.items():
        for done, do in pairwise(notes):
            heard_s = moments.get(("heard", side, done[2]))
            sent_s = moments.get(("sent", side, do[2]))
            if (done[1], do[1]) != ("finished", "do") or heard_s is None or sent_s is None:
                continue
            sync_s = sum(one.for_s for one in syncs if heard_s <= one.at_s <= sent_s)
            spans = (heard_s - done[0], sent_s - heard_s - sync_s, sync_s, do[0] - sent_s)
            for name, span_s in zip(PARTS, spans, strict=True):
                found[name].append(span_s)
    return found


def gaps(notes: Sequence[Note], first: str, then: str) -> list[float]:
    """Return how long `then` came after `first`, where nothing came in between."""
    return [b[0] - a[0] for a, b in pairwise(notes) if (a[1], b[1]) == (first, then)]


def holds_after(floor_s: Sequence[float], notes: Sequence[Note]) -> list[float]:
    """Return how long after each bad signal the first hold came, before the signal was good."""
    holds_s = [at_s for at_s, what, _ in notes if what == "hold"]
    firsts = (next((at for at in holds_s if at >= bad_s), None) for bad_s in floor_s)
    return [
        at_s - bad_s
        for bad_s, at_s in zip(floor_s, firsts, strict=True)
        if at_s is not None and at_s - bad_s < OCCUPIED_S
    ]


def differences(fore_us: Sequence[int], aft_us: Sequence[int]) -> list[float]:
    """Return how far apart starts were that belong together, each the nearest of the other."""
    nearest = (min((abs(one - other) for other in aft_us), default=None) for one in fore_us)
    return [gap_us / 1e6 for gap_us in nearest if gap_us is not None and gap_us < 100_000]


class Naive:
    """A script as one writes it in an afternoon: it believes everything and keeps nothing."""

    def __init__(self, client: aiomqtt.Client) -> None:
        self._client = client

    async def run_steps(self, count: int) -> None:
        """Let each arm do its steps, the next as soon as one is done."""
        left = dict.fromkeys(SIDES, count)
        for side in SIDES:
            await self._send(side, {"do": count})
        while any(left.values()):
            told = await self._hear()
            side = str(told["from"])
            left[side] -= 1
            if left[side]:
                await self._send(side, {"do": left[side]})

    async def run_starts(self, count: int) -> None:
        """Tell both to go, and wait until both have gone."""
        for number in range(count):
            for side in SIDES:
                await self._send(side, {"go": number})
            for _ in SIDES:
                await self._hear()

    async def run_holds(self, count: int) -> None:
        """Hold both when somebody is inside."""
        for _ in range(count):
            await self._send("floor", {"again": 1})
            if (await self._hear())["clear"]:
                raise RuntimeError("the floor is clear, must be occupied")
            for side in SIDES:
                await self._send(side, {"hold": 1})
            for _ in SIDES:
                await self._hear()

    async def run_echoes(self, count: int) -> None:
        """Echo, and decide nothing."""
        await self._send("fore", {"echo": count})
        for _ in range(count):
            payload = (await anext(self._client.messages)).payload
            await self._client.publish("naive/fore", payload, qos=1)

    async def _send(self, name: str, document: dict[str, object]) -> None:
        await self._client.publish(f"naive/{name}", json.dumps(document), qos=1)

    async def _hear(self) -> dict[str, object]:
        payload = (await anext(self._client.messages)).payload
        if not isinstance(payload, bytes):
            raise TypeError(f"payload is {type(payload).__name__}, must be bytes")
        told: dict[str, object] = json.loads(payload)
        return told


async def be_naive_party(name: str, port: int, note: Callable[[str, int], None]) -> None:
    """Be what the script talks to: do everything at once and say so."""
    async with aiomqtt.Client("127.0.0.1", port, socket_options=AT_ONCE) as client:
        await client.subscribe(f"naive/{name}", qos=1)
        note("there", 0)
        echoes = 0

        async def tell(**told: object) -> None:
            await client.publish("naive/script", json.dumps({"from": name, **told}), qos=1)

        async for packet in client.messages:
            asked = json.loads(packet.payload)
            match asked:
                case {"do": number}:
                    note("do", number)
                    note("finished", number)
                    await tell(finished=number)
                case {"go": number}:
                    note("started", time.time_ns() // 1_000)
                    await tell(started=number)
                case {"hold": _}:
                    note("hold", 0)
                    await tell(held=True)
                case {"again": _}:
                    note("occupied", 0)
                    await tell(clear=False)
                case {"echo": count}:
                    echoes = count
                    note("sent", echoes)
                    await tell(sent=echoes)
                case {"sent": _}:
                    note("back", echoes)
                    echoes -= 1
                    if echoes:
                        note("sent", echoes)
                        await tell(sent=echoes)


def naive(folder: Path, port: int, count: int) -> tuple[Times, list[float]]:
    """Run the naive script and return what it took, and the round trips, seconds."""

    def be(name: str) -> None:
        asyncio.run(be_naive_party(name, port, noting(folder / f"{name}.notes")))

    async def script() -> None:
        async with aiomqtt.Client("127.0.0.1", port, socket_options=AT_ONCE) as client:
            await client.subscribe("naive/script", qos=1)
            by_hand = Naive(client)
            await by_hand.run_steps(count)
            await by_hand.run_starts(count)
            await by_hand.run_holds(count)
            await by_hand.run_echoes(count)

    with processes(be, (*SIDES, "floor"), folder):
        for name in (*SIDES, "floor"):
            wait_there(folder / f"{name}.notes")
        asyncio.run(asyncio.wait_for(script(), PATIENCE_S))
    arms = {side: notes_of(folder / f"{side}.notes") for side in SIDES}
    floor = [at_s for at_s, what, _ in notes_of(folder / "floor.notes") if what == "occupied"]
    starts = [[one for _, what, one in arms[side] if what == "started"] for side in SIDES]
    times = {
        "next": [gap for notes in arms.values() for gap in gaps(notes, "finished", "do")],
        "hold": [gap for notes in arms.values() for gap in holds_after(floor, notes)],
        "start": [abs(one - other) / 1e6 for one, other in zip(*starts, strict=True)],
    }
    return times, gaps(arms["fore"], "sent", "back")


@contextlib.contextmanager
def processes(work: Callable[[str], None], names: Sequence[str], folder: Path) -> Iterator[None]:
    """Run a process for each name."""
    numbers = [
        fork(lambda name=name: work(name), folder / f"{name}.log")  # type: ignore[misc]  # each name is bound as it is now
        for name in names
    ]
    try:
        yield
    finally:
        for number in numbers:
            os.kill(number, signal.SIGKILL)
            os.waitpid(number, 0)


def wait_there(path: Path) -> None:
    """Return once a process has noted that it is there."""
    end_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < end_s:
        if path.is_file() and path.read_text(encoding="utf-8"):
            return
        time.sleep(0.01)
    raise RuntimeError(f"{path.stem} is not there")


@contextlib.contextmanager
def prompt_broker(program: str, folder: Path) -> Iterator[int]:
    """Run a Mosquitto that sends at once; yields the port."""
    port = free_port()
    configuration = folder / "mosquitto.conf"
    configuration.write_text(
        f"listener {port} 127.0.0.1\nallow_anonymous true\npersistence false\n"
        "set_tcp_nodelay true\nlog_type error\n",
        encoding="utf-8",
    )
    process = subprocess.Popen([program, "-c", str(configuration)])
    try:
        wait_listening(port)
        yield port
    finally:
        process.terminate()
        process.wait(5)


def print_table(product: Times, script: Times, trips_s: Sequence[float]) -> None:
    """Print medians and their ratios."""
    trip_s = statistics.median(trips_s)
    print(f"round trip of the broker {trip_s * 1e3:.2f} ms, median of {len(trips_s)}; medians:")
    print(f"{'':34}{'times':>6}{'ours':>10}{'naive':>10}{'ours/trip':>11}{'ours/naive':>11}")
    for key, name in NAMES.items():
        own_s, other_s = statistics.median(product[key]), statistics.median(script[key])
        print(
            f"{name:34}{len(product[key]):6}{own_s * 1e3:7.2f} ms{other_s * 1e3:7.2f} ms"
            f"{own_s / trip_s:11.2f}{own_s / other_s:11.2f}"
        )


def print_parts(found: Times, trips_s: Sequence[float]) -> None:
    """Print what the time to the next command is made of."""
    trip_s = statistics.median(trips_s)
    whole_s = sum(statistics.fmean(spans) for spans in found.values())
    print(f"{NAMES['next']}, its parts:")
    print(f"{'':34}{'median':>10}{'mean':>10}{'median/trip':>13}{'share':>8}")
    for name, spans in found.items():
        median_s, mean_s = statistics.median(spans), statistics.fmean(spans)
        share = mean_s / whole_s
        print(
            f"    {name:30}{median_s * 1e3:7.2f} ms{mean_s * 1e3:7.2f} ms"
            f"{median_s / trip_s:13.2f}{share:8.0%}"
        )


def main() -> None:
    """Measure and print."""
    told = Results.begin("latency")
    if MOSQUITTO is None:
        raise SystemExit("Mosquitto is not installed; bash tests/all.sh installs it")
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=60, help="how often the arms meet")
    rounds = parser.parse_args().rounds
    with tempfile.TemporaryDirectory() as name:
        for part in ("ours", "naive"):
            (Path(name) / part).mkdir()
        with prompt_broker(MOSQUITTO, Path(name)) as port:
            product, within = ours(Path(name) / "ours", port, rounds)
            script, trips_s = naive(Path(name) / "naive", port, 2 * rounds)
    print_table(product, script, trips_s)
    print_parts(within, trips_s)
    trip_s = statistics.median(trips_s)
    for key, words in NAMES.items():
        own_s, other_s = statistics.median(product[key]), statistics.median(script[key])
        told.add(words, own_s * 1e3, "ms")
        told.add(f"{words}, to the broker's round trip", own_s / trip_s, "times")
        told.add(f"{words}, to a naive script", own_s / other_s, "times")
    told.write()


if __name__ == "__main__":
    main()
