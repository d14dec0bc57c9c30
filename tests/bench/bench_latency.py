"""Measure from a party's `Finished` to the next command, beside the bus and the disk alone.

Run with ``python -m tests.bench.bench_latency``; prints ratios and asserts no time.

Every call of a dry run is repeated to a fresh coordinator with a journal. A call that takes a
`Finished` and gives a command goes over Mosquitto both ways; the same bytes then go the same way
without us, plus one fsync.

Broker and clients send at once (TCP_NODELAY), as our own links do. Where either waits to fill a
packet, Nagle's rule and delayed acknowledgement add some 40 ms each way and hide all the rest.
"""

import asyncio
import contextlib
import os
import socket
import statistics
import subprocess
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import aiomqtt

from coordinator.cli.simulated import Simulation
from coordinator.live.coordinator import Coordinator, Observers
from coordinator.live.operator import OperatedCoordinator, OperatorScript
from coordinator.records.journal import Head, Journal
from coordinator.sequence import Loaded, load
from coordinator.wire.codec import decode, encode
from coordinator.wire.messages import Do, Finished, Message
from coordinator.wire.topics import topic_of
from sim_arms.network import Network
from sim_arms.world import World
from tests.support.brokers import MOSQUITTO, free_port, wait_listening
from tests.support.house import ROOT

Call = tuple[str, tuple[Any, ...]]
TIME_US_MAX = 12 * 3600 * 1_000_000
REPORTS, COMMANDS = "bench/reports", "bench/commands"
AT_ONCE = [(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)]


class NotingCoordinator(Coordinator):
    """A coordinator that notes how it was called."""

    def __init__(self, loaded: Loaded) -> None:
        super().__init__(loaded.plan)
        self.calls: list[Call] = []

    def receive_all(self, batch: Sequence[tuple[Message, bool]], now_us: int) -> list[Message]:
        """Note and go on."""
        self.calls.append(("receive_all", (batch, now_us)))
        return super().receive_all(batch, now_us)

    def advance(self, now_us: int) -> list[Message]:
        """Note and go on."""
        self.calls.append(("advance", (now_us,)))
        return super().advance(now_us)

    def act(self, *given: Any) -> list[Message]:
        """Note and go on."""
        self.calls.append(("act", given))
        return super().act(*given)


def calls_of(loaded: Loaded) -> list[Call]:
    """Return how the coordinator of a dry run without causes was called."""
    simulation = Simulation(loaded, 1, ())
    coordinator = NotingCoordinator(loaded)
    operated = OperatedCoordinator(coordinator, OperatorScript(loaded.plan, (), ()))
    parties = [simulation.party(name) for name in simulation.names]
    world = World(parties, operated, Network(1, simulation.causes), causes=simulation.causes)
    world.run(lambda: coordinator.state.phase == "complete", TIME_US_MAX)
    return coordinator.calls


async def measure(loaded: Loaded, calls: list[Call], port: int, folder: Path) -> None:
    """Repeat the calls and print the medians."""
    journal = Journal.create(folder / "journal.log", Head("bench", loaded.plan.digest))
    coordinator = Coordinator(loaded.plan, observers=Observers(journal=journal))
    ours_s: list[float] = []
    bare_s: list[float] = []
    async with (
        aiomqtt.Client("127.0.0.1", port, identifier="party", socket_options=AT_ONCE) as party,
        aiomqtt.Client("127.0.0.1", port, identifier="ours", socket_options=AT_ONCE) as ours,
    ):
        await party.subscribe(COMMANDS, qos=1)
        await ours.subscribe(REPORTS, qos=1)
        with (folder / "plain").open("wb") as plain:
            for name, given in calls:
                if not _is_finish(name, given):
                    getattr(coordinator, name)(*given)
                    continue
                [(message, _)], now_us = given
                report, topic = encode(message), topic_of("bench", message)
                start_s = time.perf_counter()
                await party.publish(REPORTS, report, qos=1)
                got = decode(topic, await _next(ours))
                answers = coordinator.receive_all([(got, False)], now_us)
                commands = [encode(one) for one in answers if isinstance(one.body, Do)]
                for command in commands[:1]:
                    await ours.publish(COMMANDS, command, qos=1)
                    await _next(party)
                    ours_s.append(time.perf_counter() - start_s)
                    bare_s.append(await _bare_s(party, ours, report, command, plain))
    journal.close()
    if coordinator.state.phase != "complete":
        raise RuntimeError(f"the run ended {coordinator.state.phase}, must be complete")
    _print(ours_s, bare_s)


async def _bare_s(
    party: aiomqtt.Client, ours: aiomqtt.Client, report: bytes, command: bytes, plain: Any
) -> float:
    """Send the same bytes the same way, and put the report on the disk in between."""
    start_s = time.perf_counter()
    await party.publish(REPORTS, report, qos=1)
    plain.write(await _next(ours))
    plain.flush()
    os.fsync(plain.fileno())
    await ours.publish(COMMANDS, command, qos=1)
    await _next(party)
    return time.perf_counter() - start_s


async def _next(client: aiomqtt.Client) -> bytes:
    payload = (await anext(client.messages)).payload
    if not isinstance(payload, bytes):
        raise TypeError(f"payload is {type(payload).__name__}, must be bytes")
    return payload


def _is_finish(name: str, given: tuple[Any, ...]) -> bool:
    return (
        name == "receive_all" and len(given[0]) == 1 and isinstance(given[0][0][0].body, Finished)
    )


def _print(ours_s: list[float], bare_s: list[float]) -> None:
    ours, bare = statistics.median(ours_s), statistics.median(bare_s)
    print(f"{len(ours_s)} times from `Finished` to the next `Do`, over Mosquitto, medians")
    print(f"coordinator with journal      {ours * 1e3:8.2f} ms")
    print(f"bus and one fsync alone       {bare * 1e3:8.2f} ms")
    print(f"ratio                         {ours / bare:8.2f}")


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


def main() -> None:
    """Measure and print."""
    if MOSQUITTO is None:
        raise SystemExit("Mosquitto is not installed; bash tests/all.sh installs it")
    loaded = load(ROOT / "sequences" / "makeup_8.yaml")
    calls = calls_of(loaded)
    with tempfile.TemporaryDirectory() as folder, prompt_broker(MOSQUITTO, Path(folder)) as port:
        asyncio.run(measure(loaded, calls, port, Path(folder)))


if __name__ == "__main__":
    main()
