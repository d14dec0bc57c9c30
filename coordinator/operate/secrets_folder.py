"""Know where the passwords of the broker are: in a folder, never on a command line.

The environment tells it to the processes that a run starts, as it may tell it to us.
"""

import os
from pathlib import Path

from coordinator.live.mqtt_link import Address

SECRETS_VARIABLE = "BOTHSIDES_SECRETS"


def use_secrets(folder: Path | None) -> None:
    """Let this process, and those that it starts, take passwords from a folder."""
    if folder is not None:
        os.environ[SECRETS_VARIABLE] = str(folder.absolute())


def address_for(broker: str, party: str) -> Address:
    """Return the address of a broker, with what a party needs to be let in.

    Raises:
        ValueError: the address is none, or the folder has nothing for the party.
    """
    named = os.environ.get(SECRETS_VARIABLE)
    return Address.parse(broker).known_as(party, Path(named) if named else None)
