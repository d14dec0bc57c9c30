"""What a shell needs of the place its activities work at, and how a party is set up.

Units: ``*_us`` whole microseconds of the cell's clock; ``*_nm`` newton metre.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from coordinator.wire.messages import Do, Value
from sim_arms.activity import Activity, Done, Wait
from sim_arms.causes import Cause

STAND_BY = "stand_by"
"""The one action that every shell knows: it moves nothing and is done at once."""


@runtime_checkable
class HandWorked(Protocol):
    """A bench whose steel people can work on as well."""

    def work_by_hand(self, kind: str, bolt: int, torque_nm: float) -> None:
        """Let people do to a bolt what a record of this kind proves."""


class Workbench(Protocol):
    """The side of the world that one party's activities act on."""

    @property
    def tool(self) -> str:
        """The tool now mounted, empty for none."""

    def begin(self, action: str, parameters: Mapping[str, Value], on_hold: str) -> Activity:
        """Prepare an action; nothing moves before the first step of what is returned.

        Raises:
            Unfit: the action cannot be begun; nothing was changed.
        """

    def tell_time(self, now_us: int) -> None:
        """Let the bench know the time before its activity takes a step."""

    def take_changes(self) -> Mapping[str, Value]:
        """Return the facts about the steel changed since the last call."""

    def apply(self, facts: Mapping[str, Value]) -> None:
        """Take up facts that another party wrote."""

    def standing(self) -> Mapping[str, Value]:
        """Return how the party's own metal stands: what no new start of its process changes."""

    def stand(self, standing: Mapping[str, Value]) -> None:
        """Stand as `standing` says, after a new start of the process."""

    def add_causes(self, causes: Sequence[Cause]) -> None:
        """Let causes act that were not known before."""

    def limit_speed(self, share: float) -> None:
        """Move no faster than this share of full speed, from the next action on."""

    def reseed(self, seed: int | str) -> None:
        """Draw what is yet to come by chance anew."""

    def wake(self) -> None:
        """Forget what only the memory of a process holds; the process has started anew."""


@dataclass(frozen=True, slots=True)
class Settings:
    """What a party was told when it was set up."""

    name: str
    boot: int = 1
    watched: tuple[str, ...] = ()
    """Floor signals that must be true for it to move."""
    signal_us_max: int = 1_500_000
    torque_nm_max: float = float("inf")
    """No command may ask for more."""
    simulated: bool = True
    """Told with every heartbeat; a driver of real steel says that it is not."""
    latency_us_max: int = 8_000
    """From a start time to the actuator's own start (from memory: valves of this size)."""


@dataclass(slots=True)
class Work:
    """The command in hand, armed or running."""

    do: Do
    activity: Activity
    due_us: int | None = None
    """When the present wait ends; while armed, when the released start comes."""
    wait: Wait | None = None
    progress_us: int = 0
    hold_reason: str = ""
    hold_number: int = 0
    moves: bool = True
    """False for standing by, which no floor signal can forbid."""


def stand_by() -> Activity:
    """Do nothing, at once."""
    return Done()
    yield Wait(0.0)
