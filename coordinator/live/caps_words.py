"""Say in words what a run is capped to."""

from coordinator.core.plan import Caps


def caps_words(caps: Caps) -> str:
    """Return what a run is capped to, empty if it is not; it stands wherever the run is shown."""
    words = [] if caps.torque_nm is None else [f"torque to {caps.torque_nm:g} N·m"]
    if caps.torque_nm == 0.0:
        words = ["NO TORQUE"]
    words += [] if caps.speed_share == 1.0 else [f"speed to {caps.speed_share:.0%}"]
    return f"CAPPED, {' and '.join(words)}: " if words else ""
