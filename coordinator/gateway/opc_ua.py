"""Read a controller over OPC UA: values with their status and source time stamp.

Units: ``*_us`` whole microseconds since the Unix epoch.
Invariants: GW1, a signal is told true or false only from a good, fresh answer of a living
controller; GW5, a gateway only reads its controllers: it never writes to one.
Source: OPC Foundation, OPC 10000-4 Services, 1.05: 5.11.2 Read, 7.39 StatusCode.
"""

import asyncio
import contextlib
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from asyncua import Client, Node, ua
from asyncua.crypto.security_policies import SecurityPolicyBasic256Sha256
from cryptography import x509

from coordinator.gateway.desk import Place, Reading, Readings
from coordinator.gateway.meaning import Word
from coordinator.gateway.source import Access, SourceLost, words_of
from coordinator.sequence.models.gateway_model import GatewaySourceModel

CLOSE_S = 1.0
"""Chosen: a controller that is gone does not answer a farewell."""


class OpcUaSource:
    """A server of OPC UA."""

    def __init__(self, source: GatewaySourceModel, access: Access) -> None:
        """Know where it is; nothing is connected yet."""
        self._source = source
        self._access = access
        self._client: Client | None = None
        self._nodes: list[Node] = []
        self._places: tuple[Place, ...] = ()

    async def open(self, places: Sequence[Place]) -> None:
        """Connect and find the nodes; see `Source`."""
        timeout_s = self._source.timeout / 1e6
        client = Client(f"opc.tcp://{self._where()}", timeout=timeout_s)
        self._client = client
        try:
            if self._source.user is not None:
                client.set_user(self._source.user)
                client.set_password(self._access.password or "")
            if self._access.certificate is not None and self._access.key is not None:
                # Controllers refuse who calls himself otherwise than his certificate does.
                client.application_uri = _name_in(self._access.certificate)
                await client.set_security(
                    SecurityPolicyBasic256Sha256,
                    self._access.certificate,
                    self._access.key,
                    server_certificate=str(self._access.server),
                )
            await client.connect()
            namespaces = await client.get_namespace_array()
            self._places = tuple(places)
            self._nodes = [client.get_node(_with_index(one.at, namespaces)) for one in places]
        except Exception as error:  # the library lets malformed answers through
            raise SourceLost(words_of(error)) from None

    async def read(self) -> Readings:
        """Read every node with one request; see `Source`."""
        if self._client is None:
            raise SourceLost("not connected")
        try:
            values = await self._client.read_attributes(self._nodes, ua.AttributeIds.Value)
        except Exception as error:  # the library lets malformed answers through
            raise SourceLost(words_of(error)) from None
        return {place: _reading(value) for place, value in zip(self._places, values, strict=True)}

    async def close(self) -> None:
        """Disconnect; see `Source`."""
        client, self._client = self._client, None
        if client is not None:
            with contextlib.suppress(Exception):
                async with asyncio.timeout(CLOSE_S):
                    await client.disconnect()

    def _where(self) -> str:
        _, _, path = self._source.address.removeprefix("opc.tcp://").partition("/")
        return f"{self._source.host}:{self._source.port}/{path}"


def _name_in(certificate: Path) -> str:
    """Return the application URI that a certificate names (OPC 10000-6, 6.2.2)."""
    found = x509.load_der_x509_certificate(certificate.read_bytes())
    names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    uris = names.get_values_for_type(x509.UniformResourceIdentifier)
    if not uris:
        raise ValueError(f"{certificate} names no application URI")
    return uris[0]


def _with_index(place: str, namespaces: Sequence[str]) -> str:
    """Return a node's name with the index that its namespace has on this server now."""
    if not place.startswith("nsu="):
        return place
    uri, _, rest = place.removeprefix("nsu=").partition(";")
    if uri not in namespaces:
        raise ValueError(f"it has no namespace {uri}")
    return f"ns={namespaces.index(uri)};{rest}"


def _reading(value: ua.DataValue) -> Reading:
    status = value.StatusCode
    wrong = "" if status is None or status.is_good() else f"its status is {status.name}"
    found = None if value.Value is None else value.Value.Value
    return Reading(found if isinstance(found, Word) else None, wrong, _us(value.SourceTimestamp))


def _us(moment: datetime | None) -> int | None:
    if moment is None:
        return None
    known = moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)
    return round(known.timestamp() * 1e6)
