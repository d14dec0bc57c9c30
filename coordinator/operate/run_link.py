"""Build the link of a run: one bus, or one for the simulated parties and that of the real cell."""

from collections.abc import Callable
from dataclasses import dataclass

from coordinator.live.link import Link, Presence
from coordinator.live.mqtt_link import MqttLink
from coordinator.live.routed_link import RoutedLink
from coordinator.live.runtime import LinkNote
from coordinator.live.shadow import Comparison
from coordinator.operate.secrets_folder import address_for
from coordinator.operate.wishes import Wishes
from coordinator.wire.topics import COORDINATOR, ROOT, subscriptions_of_coordinator


@dataclass(frozen=True, slots=True)
class Buses:
    """Addresses of the brokers of a run."""

    ours: str
    """Of the simulated parties; the only one where all are simulated, or all real."""
    theirs: str | None = None
    """Of the real cell, where that is another one."""


class TellLink:
    """Prints what the link reports; the same again only after something else."""

    def __init__(self, say: Callable[[str], None]) -> None:
        self._say = say
        self._told = ""

    def __call__(self, note: LinkNote) -> None:
        """Take in a note."""
        if note.text != self._told:
            self._say(note.text)
        self._told = note.text


def link_of(
    wishes: Wishes,
    buses: Buses,
    presence: Presence,
    comparison: Comparison,
    clock_us: Callable[[], int],
) -> Link:
    """Return the link that the coordinator speaks and listens on."""
    stands = wishes.stands
    if stands.is_all_simulated:
        return _link(wishes, buses.ours, presence)
    theirs = _link(wishes, buses.theirs or buses.ours, presence if stands.has_real else None)
    ours = _link(wishes, buses.ours, presence) if wishes.has_simulation else None
    return RoutedLink(ours, theirs, stands, comparison, clock_us)


def _link(wishes: Wishes, broker: str, presence: Presence | None) -> MqttLink:
    """Return one end of a bus; without a presence it only listens, beside whoever coordinates."""
    cell = wishes.loaded.cell.cell
    word = COORDINATOR if presence is not None else "shadow"
    return MqttLink(
        address_for(broker, COORDINATOR),
        cell,
        subscriptions_of_coordinator(cell),
        f"{ROOT}-{cell}-{word}",
        presence,
        speed=max(wishes.speed, 1.0),
    )
