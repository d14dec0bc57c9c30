"""What a controller is to the gateway: something that can be connected to and read, and no more."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from coordinator.gateway.desk import Place, Readings
from coordinator.sequence.models.gateway_model import GatewaySourceModel

CONTROLLERS = "controllers"


class SourceLost(Exception):  # noqa: N818 (it says what happened)
    """The controller does not answer as it should."""


def words_of(error: BaseException) -> str:
    """Return what a library says of a loss, in one line."""
    text = " ".join(str(error).split())
    return text if text else "no answer in time"


class Source(Protocol):
    """A controller that is read."""

    async def open(self, places: Sequence[Place]) -> None:
        """Connect, and prepare to read some places.

        Raises:
            SourceLost: it cannot be reached, or does not let us in.
        """

    async def read(self) -> Readings:
        """Read every place once.

        Raises:
            SourceLost: no answer to all of them.
        """

    async def close(self) -> None:
        """Let go of the connection, whatever state it is in."""


@dataclass(frozen=True, slots=True)
class Access:
    """Who we are to a controller; nothing of it stands in the cell file."""

    password: str | None = field(default=None, repr=False)
    certificate: Path | None = None
    key: Path | None = None
    server: Path | None = None
    """The certificate that the controller must have."""


def access_of(name: str, source: GatewaySourceModel, secrets: Path | None) -> Access:
    """Read what a controller asks of us from the folder of secrets.

    Args:
        name: Of the source; its folder below `controllers` is read.
        source: Says what is needed: a user's password, a certificate with its key.
        secrets: Folder with one folder for each party, and one for all controllers.

    Raises:
        ValueError: something that is needed is not there. Code LNK015.
    """
    if source.user is None and not source.encrypted:
        return Access()
    if secrets is None:
        raise ValueError(
            f"source '{name}' has a user or is encrypted, must have a folder of secrets; name one "
            "with --secrets [LNK015]"
        )
    own = secrets / CONTROLLERS / name  # Apart from parties, whose password is not for them.
    files = [own / "password"] if source.user is not None else []
    keys = (own / "certificate.der", own / "key.pem", own / "server.der")
    files += keys if source.encrypted else ()
    for file in files:
        if not file.is_file():
            raise ValueError(
                f"{file}: is not there, must be for source '{name}'; put it there [LNK015]"
            )
    password = None
    if source.user is not None:
        password = (own / "password").read_text(encoding="utf-8").strip()
    if not source.encrypted:
        return Access(password)
    return Access(password, *keys)
