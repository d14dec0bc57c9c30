"""Write the driver of a real arm: the device moves, the kit keeps the contract for it.

A device says how to begin an action, how far it is, and how to come to rest. Everything else of the
contract is the same shell that the simulated arms have: duplicates, expiry, epochs, the lease, the
floor's signals, holds and their numbers, armed starts, the ledger that no restart forgets, caps.

WARNING: what holds here is operational. A real arm keeps its own stop, limits and guarding; a
driver that dies must leave it at rest by the arm's own means.

Units: ``*_s`` seconds; ``*_nm`` newton metre; ``*_pa`` pascal; ``*_rad`` radian.
Invariants: KT1, a device is never asked to begin anything that the contract forbids; KT2, a device
is asked to come to rest once for each hold, and then only whether it has.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from random import Random
from typing import Protocol

from coordinator.wire.messages import Trace, Value
from sim_arms.activities.bench import Unfit
from sim_arms.activity import Activity, ActivityFault, Done, HoldAsked, Wait
from sim_arms.causes import Cause
from sim_arms.ledger import FileStore, Ledger, LedgerStore
from sim_arms.node import Broker, ledger_beside, run_party
from sim_arms.shell import Shell
from sim_arms.workbench import Settings

PERIOD_S = 0.05
"""Chosen: how often a device at work is asked how far it is."""


@dataclass(frozen=True, slots=True)
class Working:
    """It still moves; what the tool feels, where it feels anything."""

    torque_nm: float | None = None
    pressure_pa: float | None = None
    angle_rad: float | None = None


@dataclass(frozen=True, slots=True)
class Ended:
    """It has done what it began and stands."""

    results: Mapping[str, Value] = field(default_factory=dict)
    trace: Trace | None = None


@dataclass(frozen=True, slots=True)
class Gone:
    """It has ended badly and stands; `fault` is a kind of the cell file."""

    fault: str
    evidence: Mapping[str, Value] = field(default_factory=dict)
    trace: Trace | None = None


class Device(Protocol):
    """What a driver must know of its arm."""

    @property
    def tool(self) -> str:
        """The tool now mounted, empty for none."""

    def refusal(self, action: str, parameters: Mapping[str, Value]) -> str | None:
        """Return why it cannot do an action, None if it can; nothing moves."""

    def begin(self, action: str, parameters: Mapping[str, Value]) -> None:
        """Begin an action that it has not refused; return at once."""

    def look(self) -> Working | Ended | Gone:
        """Return how far the action is that was begun last."""

    def come_to_rest(self, on_hold: str) -> None:
        """Begin to come to rest as the action says: stop, finish, relieve or retract."""

    def is_at_rest(self) -> bool:
        """Tell whether nothing moves any more."""

    def limit_speed(self, share: float) -> None:
        """Move no faster than this share of full speed."""


class DeviceBench:
    """Lets the shell work with a device."""

    def __init__(self, device: Device) -> None:
        """Stand before a device that is at rest."""
        self._device = device

    @property
    def tool(self) -> str:
        """The tool now mounted, empty for none."""
        return self._device.tool

    def begin(self, action: str, parameters: Mapping[str, Value], on_hold: str) -> Activity:
        """Prepare an action; it moves from the first step of what is returned.

        Raises:
            Unfit: the device refuses it; nothing has moved.
        """
        if (why := self._device.refusal(action, parameters)) is not None:
            raise Unfit(why)
        return self._follow(action, parameters)

    def _follow(self, action: str, parameters: Mapping[str, Value]) -> Activity:
        device = self._device
        device.begin(action, parameters)
        try:
            while isinstance(at := device.look(), Working):
                yield Wait(PERIOD_S, at.torque_nm, at.pressure_pa, at.angle_rad)
        except HoldAsked as asked:
            device.come_to_rest(asked.on_hold)
            while not device.is_at_rest():
                yield Wait(PERIOD_S)
            if isinstance(at := device.look(), Ended):
                return Done(at.results, at.trace)
            raise
        if isinstance(at, Gone):
            raise ActivityFault(at.fault, at.evidence, at.trace)
        return Done(at.results, at.trace)

    def limit_speed(self, share: float) -> None:
        """Move no faster than this share of full speed, from the next action on."""
        self._device.limit_speed(share)

    def tell_time(self, now_us: int) -> None:
        """A device has a clock of its own."""

    def take_changes(self) -> Mapping[str, Value]:
        """Real steel tells nobody."""
        return {}

    def apply(self, facts: Mapping[str, Value]) -> None:
        """Facts about simulated steel are not ours."""

    def standing(self) -> Mapping[str, Value]:
        """Real metal stands as it stands."""
        return {}

    def stand(self, standing: Mapping[str, Value]) -> None:
        """Real metal stands as it stands."""

    def add_causes(self, causes: Sequence[Cause]) -> None:
        """Nobody lets things go wrong here."""

    def reseed(self, seed: int | str) -> None:
        """Nothing here is drawn."""

    def wake(self) -> None:
        """The device keeps what it must."""


def party_of(device: Device, settings: Settings, store: LedgerStore) -> Shell:
    """Return the party that a device is on the bus."""
    return Shell(settings, DeviceBench(device), Ledger(store), Random(0))


async def drive(
    device: Device,
    settings: Settings,
    *,
    cell: str,
    broker: Broker,
    folder: Path,
    clock_us: Callable[[], int],
) -> None:
    """Be a device's driver until SIGTERM or SIGINT; reconnect for ever until then.

    Args:
        device: At rest.
        settings: Name, the signals that it watches itself, its own cap on torque; `boot` is
            counted here.
        cell: Name of the cell.
        broker: The broker, with the party's own account.
        folder: Keeps the ledger; must outlive the process and never be shared.
        clock_us: Microseconds since the Unix epoch, the same for the whole cell.
    """
    store: FileStore = ledger_beside(folder, cell, settings.name)
    try:
        known = replace(settings, boot=store.count_boot())
        await run_party(party_of(device, known, store), cell, broker, clock_us)
    finally:
        store.close()
