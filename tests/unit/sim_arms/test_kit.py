"""What the kit asks of a device, counted by a device that does nothing else."""

from collections.abc import Callable, Mapping
from random import Random

import pytest

from coordinator.wire.messages import Do, FloorSignals, Hold, Lease, MakeReady, Value
from sim_arms.kit import DeviceBench, Ended, Gone, Working
from sim_arms.ledger import Ledger
from sim_arms.shell import Shell
from sim_arms.workbench import Settings
from tests.support.parties import SECOND_US, Driver


class Counted:
    """A device that works for ever, rests when it is told so, and keeps what it was asked."""

    def __init__(self) -> None:
        self.tool = ""
        self.begun: list[str] = []
        self.rested: list[str] = []
        self.is_still = False
        self.asked_to_rest = 0

    def refusal(self, action: str, parameters: Mapping[str, Value]) -> str | None:
        """Know one action."""
        return None if action == "move" else "unknown"

    def begin(self, action: str, parameters: Mapping[str, Value]) -> None:
        """Count it."""
        self.begun.append(action)

    def look(self) -> Working | Ended | Gone:
        """Be at work."""
        return Working()

    def come_to_rest(self, on_hold: str) -> None:
        """Count it."""
        self.rested.append(on_hold)

    def is_at_rest(self) -> bool:
        """Stand once the test says so."""
        self.asked_to_rest += 1
        return self.is_still

    def limit_speed(self, share: float) -> None:
        """It has no speed."""


def driven(*, is_awake: bool = True) -> tuple[Counted, Driver]:
    """Return a device, and who speaks to the party that the kit makes of it."""
    device, driver = Counted(), Driver()
    settings = Settings("fore", watched=("floor_clear",), torque_nm_max=8_000.0)
    driver.shell = Shell(settings, DeviceBench(device), Ledger(driver.store), Random(0))
    if is_awake:
        driver.wake_up()
        driver.say(FloorSignals({"floor_clear": True}))
    return device, driver


DO = Do(1, "step", "move")
FORBIDDEN: dict[str, Callable[[Driver], object]] = {
    "expired": lambda driver: driver.say(DO, 2, expires_us=1),
    "no_expiry": lambda driver: driver.say(DO, expires_us=None),
    "retained": lambda driver: driver.say(DO, retained=True),
    "held": lambda driver: (driver.say(Hold("floor")), driver.say(DO)),
    "signal": lambda driver: (driver.say(FloorSignals({"floor_clear": False})), driver.say(DO)),
    "armed_only": lambda driver: (driver.do(1, barrier="pull"), driver.pass_time(SECOND_US // 2)),
    "above_its_cap": lambda driver: driver.do(1, torque=9_000.0),
    "refused_by_the_device": lambda driver: driver.do(1, "fly"),
}


@pytest.mark.parametrize("forbidden", FORBIDDEN.values(), ids=list(FORBIDDEN))
def test_a_device_begins_nothing_that_the_contract_forbids(
    forbidden: Callable[[Driver], object],
) -> None:
    """KT1: a maker's device need not know the contract, so nothing forbidden may reach it."""
    device, driver = driven()

    forbidden(driver)

    assert device.begun == []


def test_a_device_begins_nothing_without_a_lease_and_what_it_may_once() -> None:
    """KT1: the same command again, as the bus may bring it, begins nothing."""
    device, driver = driven(is_awake=False)
    driver.say(FloorSignals({"floor_clear": True}))
    driver.say(MakeReady())
    driver.do(1)
    assert device.begun == []

    driver.say(Lease(600 * SECOND_US))
    driver.do(2)
    driver.do(2)

    assert device.begun == ["move"]


def test_a_device_is_asked_to_rest_once_and_then_only_whether_it_does() -> None:
    """KT2: an order given anew while it brakes could make a device start its braking again."""
    device, driver = driven()
    driver.say(Do(1, "step", "move", on_hold="relieve"))

    driver.say(Hold("floor"), 100_000)
    driver.say(Hold("again"), 100_001)
    driver.pass_time(SECOND_US)

    assert (device.rested, driver.state) == (["relieve"], "holding")
    assert device.asked_to_rest > 5
    device.is_still = True
    driver.pass_time(2 * SECOND_US)
    assert (device.rested, driver.state) == (["relieve"], "held")
