"""Words for what differs between two gateways of a cell: its controllers, and what is read there.

Invariants: both tables lie at the top, so that a path has the author's names at every second place.
"""

from collections.abc import Mapping

from coordinator.sequence.models.cell_model import CellModel

THINGS: Mapping[tuple[str, ...], str] = {
    ("gateway_sources",): "controller {1} is now read | controller {1} is no longer read",
    ("gateway_signals",): "{1} is now read from a controller | {1} is read nowhere any more",
}
"""What is said of a thing that is there in one cell only: when it is new | when it is gone."""
TIMES = ("every", "timeout", "alive_max", "stamp_max")
_SOURCE = {
    "address": "controller {1} is now at {now}, was {was}",
    "every": "controller {1} is now read every {now}, was {was}",
    "timeout": "controller {1} may now take {now} to answer, was {was}",
    "device": "controller {1} is now device {now}, was {was}",
    "alive": "that controller {1} lives is now told by {now}, was {was}",
    "alive_max": "the value that tells it may now stand still for {now} in {1}, was {was}",
    "stamp_max": "time stamps of controller {1} may now be {now} from now, was {was}",
    "user": "our user at controller {1} is now {now}, was {was}",
    "encrypted": "whether controller {1} is spoken to encrypted is now {now}, was {was}",
}
_SIGNAL = {
    "source": "{1} is now read from controller {now}, was {was}",
    "at": "{1} is now read at {now!r}, was {was!r}",
    "bit": "{1} is now told by bit {now}, was {was}",
    "inverted": "whether {1} is read inverted is now {now}, was {was}",
    "number": "the register of {1} is now a number {now}, was {was}",
    "low_word_first": "whether the low word of {1} comes first is now {now}, was {was}",
    "at_least": "{1} is now good from a reading of {now}, was {was}",
    "at_most": "{1} is now good up to a reading of {now}, was {was}",
}
SENTENCES: Mapping[tuple[str, ...], tuple[str, str]] = {
    (table, "*", key): (text, "time_us" if key in TIMES else "says")
    for table, texts in (("gateway_sources", _SOURCE), ("gateway_signals", _SIGNAL))
    for key, text in texts.items()
}


def tables_of(cell: CellModel) -> dict[str, object]:
    """Return controllers and readings as tables of their own, empty without a gateway."""
    found = {} if cell.gateway is None else cell.gateway.model_dump()
    return {f"gateway_{table}": found.get(table, {}) for table in ("sources", "signals")}
