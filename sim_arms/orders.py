"""What a person at the floor's keyboard may say: which signal is good, bad or unknown."""

from coordinator.wire.messages import Message
from sim_arms.floor import Floor

_VALUES: dict[str, bool | None] = {"yes": True, "no": False, "unknown": None}


def obey_order(floor: Floor, line: str, now_us: int) -> tuple[list[Message], str]:
    """Do what one line says, as ``floor_clear no``.

    Args:
        floor: The floor whose signals are meant.
        line: A signal and `yes`, `no` or `unknown`; or `help`.
        now_us: The cell's clock.

    Returns:
        What is to be sent, and what to tell the person.
    """
    words = line.split()
    if not words:
        return [], ""
    if words == ["help"]:
        return [], help_text(floor)
    if len(words) != 2 or words[0] not in floor.signals or words[1] not in _VALUES:
        return [], f"not understood: '{line.strip()}'; {help_text(floor)}"
    messages = floor.set_signal(words[0], _VALUES[words[1]], now_us)
    return messages, f"{words[0]} is now {words[1]}"


def help_text(floor: Floor) -> str:
    """Return what may be said."""
    return f"say a signal ({', '.join(floor.signals)}) and one of {', '.join(_VALUES)}; or help"
