"""Decide from a message alone whether a party may look at it, and what no party will do.

Units: ``*_us`` whole microseconds of the cell's clock; ``*_nm`` newton metre.
Invariants: A3, a command that has expired or has no expiry is not obeyed; WR5, nobody but the
coordinator commands, nobody but the floor tells its signals; WR9, nothing is decided on what the
broker has kept.
"""

from collections.abc import Mapping

from coordinator.wire.messages import (
    Body,
    FloorSignals,
    Hold,
    Lease,
    MakeReady,
    Message,
    RefusalReason,
    Value,
)
from coordinator.wire.topics import COMMANDS, COORDINATOR, FLOOR

_ONLY_FROM: dict[type[Body], str] = {
    **dict.fromkeys((*COMMANDS, Lease), COORDINATOR),
    FloorSignals: FLOOR,
}
"""Looked up by type: asked about every message."""


def forgery(message: Message) -> str | None:
    """Return why a message is not from whom only it may come, None if it is."""
    wanted = _ONLY_FROM.get(type(message.body), message.source)
    if message.source == wanted:
        return None
    what = type(message.body).__name__
    return (
        f"{what} from '{message.source}', must be from '{wanted}'; the message is dropped [LNK014]"
    )


def staleness(
    message: Message, epoch: int, now_us: int, retained: bool
) -> tuple[RefusalReason, str] | None:
    """Return why a command must not be looked at any more, None if it may be.

    Args:
        message: A command.
        epoch: The epoch obeyed.
        now_us: When it arrived.
        retained: Whether it came from the broker's memory.
    """
    if retained:
        return "retained", "a command must not come from the broker's memory"
    if message.epoch < epoch:
        return "outdated", f"epoch {message.epoch}, obeying {epoch}"
    if message.expires_us is None:
        return "expired", "a command must carry an expiry"
    if now_us > message.expires_us:
        return "expired", f"{now_us - message.expires_us} us ago"
    return None


def excess(parameters: Mapping[str, Value], torque_nm_max: float) -> str | None:
    """Return which torque asked for is above the party's own cap, None if none is."""
    for name, value in parameters.items():
        if not name.startswith("torque") or isinstance(value, str):
            continue
        if not 0.0 <= value <= torque_nm_max:  # Written so that not-a-number is refused as well.
            return f"'{name}' is {value} N.m, must be 0 to {torque_nm_max}"
    return None


def number_of(body: Body) -> int:
    """Return the number that a refusal of `body` names, 0 where it has none."""
    if isinstance(body, Hold | MakeReady):
        return body.number
    return getattr(body, "command", 0)
