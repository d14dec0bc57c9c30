"""Reach an MQTT 5 broker with `aiomqtt`, and mend the link when it breaks.

Nothing rests on the broker alone: sessions start clean, its acknowledgement proves nothing, and
whoever receives checks expiry, duplicates and epoch again.

Units: ``*_s`` seconds; ``*_us`` microseconds of the cell's clock.
Invariants: WR1, a command is never retained and always expires.
Source: OASIS, MQTT Version 5.0, 2019: 3.1.2.4 clean start, 3.3.2.3.3 message expiry interval.
"""

import asyncio
import contextlib
import os
import socket
import ssl
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from aiomqtt import Client, MqttError, ProtocolVersion, Will
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from coordinator.live.link import (
    RATE_MAX,
    Broken,
    Delivery,
    Inbox,
    LinkLost,
    LinkUnreachable,
    Presence,
    Restored,
)
from coordinator.wire.codec import encode
from coordinator.wire.messages import Message
from coordinator.wire.topics import is_retained, quality_of, topic_of

PROBE_S = 1.5
"""Chosen: with `ANSWER_S` twice, a hopeless first connect is told within five seconds."""
ANSWER_S = 1.5
KEEP_ALIVE_S = 5
"""Chosen: the broker notices a silent cable in 1.5 times this; the lease acts sooner."""
BACKOFF_S = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0)
"""Chosen: soon at first, for a short blink; the last one again and again."""
EXPIRY_S_MAX = 4_294_967_295
"""Largest four-byte integer, the property's type."""
PASSWORD_FILE = "password"
AUTHORITY_FILE = "authority.crt"
REFUSED = 128
"""Reason codes from here on are errors (MQTT 5.0, 2.4)."""


@dataclass(frozen=True, slots=True)
class Address:
    """Where a broker is, and who we are to it."""

    host: str = "127.0.0.1"
    port: int = 1883
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: bool = False
    authority_file: str | None = None
    """Certificates to trust, PEM; None for those of the operating system."""

    @classmethod
    def parse(cls, text: str) -> "Address":
        """Read ``[mqtt://|mqtts://]host[:port]``.

        Raises:
            ValueError: it is not of that form, or holds a name or password, which everybody on
                the machine could read; those stand in a folder (`known_as`).
        """
        parts = urlsplit(text if "://" in text else f"mqtt://{text}")
        if parts.scheme not in ("mqtt", "mqtts") or not parts.hostname:
            raise ValueError(f"broker '{text}': must be mqtt://host:port or mqtts://host:port")
        if parts.username is not None:
            where = f"{parts.scheme}://{parts.hostname}:{parts.port or ''}".rstrip(":")
            raise ValueError(
                f"broker '{where}' is given with a name or password, must be without: others can "
                "read it there; put it into a folder and name that with --secrets [LNK013]"
            )
        tls = parts.scheme == "mqtts"
        return cls(parts.hostname, parts.port or (8883 if tls else 1883), tls=tls)

    def known_as(self, party: str, secrets: Path | None) -> "Address":
        """Return the address with the name and password of a party, and whom it trusts.

        Args:
            party: Whose folder below `secrets` is read.
            secrets: Folder that `bothsides contract --broker-config` has written; None for a broker
                that asks for nothing.

        Raises:
            ValueError: the folder has no password for the party.
        """
        if secrets is None:
            return self
        own = secrets / party
        try:
            password = (own / PASSWORD_FILE).read_text(encoding="utf-8").strip()
        except (OSError, UnicodeDecodeError) as error:
            why = error.strerror if isinstance(error, OSError) else "not UTF-8"
            raise ValueError(
                f"{own / PASSWORD_FILE}: {why}; --secrets must name the folder with one folder "
                "for each party, as 'contract --broker-config' writes it [LNK013]"
            ) from None
        authority = own / AUTHORITY_FILE
        trusted = str(authority) if authority.is_file() else None
        return replace(self, username=party, password=password, authority_file=trusted)

    def trust(self) -> ssl.SSLContext | None:
        """Return how the connection is secured: TLS 1.3, or not at all."""
        if not self.tls:
            return None
        context = ssl.create_default_context(cafile=self.authority_file)
        context.minimum_version = ssl.TLSVersion.TLSv1_3
        return context

    def __str__(self) -> str:
        return f"{'mqtts' if self.tls else 'mqtt'}://{self.host}:{self.port}"


class MqttLink:
    """A `Link` over MQTT 5.

    Args:
        address: The broker.
        cell: Name of the cell, second level of every topic.
        subscriptions: Topics with `+` wildcards.
        identifier: Client identifier; a second client of the same name takes the first one's place.
        presence: Birth and will.
        speed: How much faster than life the cell's clock runs; parties tell that much more.
    """

    def __init__(
        self,
        address: Address,
        cell: str,
        subscriptions: Sequence[str],
        identifier: str,
        presence: Presence | None = None,
        *,
        speed: float = 1.0,
    ) -> None:
        self._address = address
        self._cell = cell
        self._subscriptions = tuple(subscriptions)
        self._identifier = identifier
        self._presence = presence or Presence()
        self._inbox = Inbox(RATE_MAX * speed)
        self._client: Client | None = None
        self._keeper: asyncio.Task[None] | None = None
        self._is_closing = False

    async def open(self) -> None:
        """Connect and subscribe; see `Link`."""
        self._is_closing = False
        try:
            await self._connect()
        except (MqttError, OSError) as error:
            raise LinkUnreachable(
                f"no MQTT broker answers at {self._address} ({_plain(error)}); "
                "start one there or name another [LNK005]"
            ) from None
        self._keeper = asyncio.create_task(self._keep(), name="mqtt link")

    async def close(self) -> None:
        """Leave in good order; see `Link`."""
        # Told by a flag as well: the client's own waits may lose a cancellation (Python 3.11).
        self._is_closing = True
        if self._keeper is not None:
            self._keeper.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._keeper
            self._keeper = None
        await self._disconnect()

    async def publish(self, messages: Sequence[Message]) -> None:
        """Send in order; see `Link`."""
        client = self._client
        if client is None:
            raise LinkLost(f"no link to {self._address} [LNK006]")
        # Each call hands its message to the socket before it first waits, so that the order of
        # the calls is the order on the wire, and acknowledgements are awaited side by side.
        sending = [self._publish_one(client, message) for message in messages]
        outcomes = await asyncio.gather(*sending, return_exceptions=True)
        for outcome in outcomes:
            if isinstance(outcome, MqttError):
                raise LinkLost(f"link to {self._address}: {_plain(outcome)} [LNK006]") from None
            if isinstance(outcome, BaseException):
                raise outcome

    async def wait_delivered(self) -> tuple[Delivery, ...]:
        """Wait for deliveries; see `Link`."""
        return await self._inbox.wait()

    async def _publish_one(self, client: Client, message: Message) -> None:
        properties = None
        if message.expires_us is not None:
            properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]  # paho
            left_us = message.expires_us - message.sent_us
            # Rounded up: whole seconds are all MQTT knows, and the receiver is stricter.
            seconds = min(max(-(-left_us // 1_000_000), 1), EXPIRY_S_MAX)
            properties.MessageExpiryInterval = seconds
        await client.publish(
            topic_of(self._cell, message),
            encode(message),
            qos=quality_of(message.body),
            retain=is_retained(message.body),
            properties=properties,
            timeout=ANSWER_S,
        )

    async def _connect(self) -> None:
        """Probe, connect, subscribe, greet; leave nothing half open."""
        await self._probe()
        client = self._new_client()
        try:
            await client.__aenter__()
            # All in one request: either everything is subscribed or the link counts as broken.
            if self._subscriptions:
                granted = await client.subscribe([(topic, 1) for topic in self._subscriptions])
                if any(_number(code) >= REFUSED for code in granted):
                    raise MqttError("a subscription is refused")
            if self._presence.birth is not None:
                await self._publish_one(client, self._presence.birth)
        except BaseException:
            # Also after a failed entry, which would leave its socket open and watched.
            with contextlib.suppress(MqttError):
                await client.__aexit__(None, None, None)
            raise
        self._client = client

    async def _probe(self) -> None:
        """Try a bare connection first: the client's own would block a thread for longer."""
        try:
            async with asyncio.timeout(PROBE_S):
                _, writer = await asyncio.open_connection(self._address.host, self._address.port)
        except TimeoutError:
            raise MqttError("no answer in time") from None
        writer.close()
        with contextlib.suppress(OSError):
            await writer.wait_closed()

    def _new_client(self) -> Client:
        address, will = self._address, self._presence.will
        return Client(
            address.host,
            address.port,
            username=address.username,
            password=address.password,
            identifier=self._identifier,
            protocol=ProtocolVersion.V5,
            clean_start=True,
            keepalive=KEEP_ALIVE_S,
            timeout=ANSWER_S,
            tls_context=address.trust(),
            will=None
            if will is None
            else Will(
                topic_of(self._cell, will),
                encode(will),
                qos=quality_of(will.body),
                retain=is_retained(will.body),
            ),
            # Nagle's algorithm would hold small messages back for up to 40 ms.
            socket_options=[(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)],
        )

    async def _disconnect(self) -> None:
        client, self._client = self._client, None
        if client is not None:
            with contextlib.suppress(MqttError):
                await client.__aexit__(None, None, None)

    async def _keep(self) -> None:
        """Pass on what arrives; when the link breaks, tell it and mend it, for ever."""
        while self._client is not None and not self._is_closing:
            try:
                async for message in self._client.messages:
                    payload = message.payload
                    raw = bytes(payload) if isinstance(payload, bytes | bytearray) else b""
                    self._inbox.put_raw(str(message.topic), raw, bool(message.retain))
            except MqttError as error:
                await self._disconnect()
                self._inbox.put(Broken(f"link to {self._address}: {_plain(error)}"))
            await self._mend()
            self._inbox.put(Restored())

    async def _mend(self) -> None:
        tries = 0
        while True:
            await asyncio.sleep(BACKOFF_S[min(tries, len(BACKOFF_S) - 1)])
            tries += 1
            with contextlib.suppress(MqttError, OSError):
                await self._connect()
                return


def leave_out_lost_sockets(loop: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
    """Handle an error of a callback: leave out the client's own about a socket that is gone.

    The link reports its loss itself (`Broken`); a traceback between the lines says nothing more.
    """
    error = context.get("exception")
    is_of_client = "aiomqtt" in repr(context.get("handle")) or "paho" in str(context.get("message"))
    if not (is_of_client and isinstance(error, (OSError, ValueError))):
        loop.default_exception_handler(context)


def _number(code: int | ReasonCode) -> int:
    return code if isinstance(code, int) else code.value


def _plain(error: BaseException) -> str:
    """Return an error as one line without its type."""
    text = str(error)
    if isinstance(error, socket.gaierror):
        text = error.strerror or text
    elif isinstance(error, OSError) and error.errno is not None and error.errno > 0:
        text = os.strerror(error.errno)  # asyncio's own text says where, and not what
    return " ".join(text.split()) or type(error).__name__
