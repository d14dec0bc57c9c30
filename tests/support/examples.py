"""Tell with how many examples a property is tried: so many in the gate, fewer or more if asked."""

import os

from hypothesis import HealthCheck, Phase, settings

VARIABLE = "BOTHSIDES_EXAMPLES_TIMES"


def times(count: int) -> int:
    """Return how many examples stand for `count` of the gate; the environment multiplies it."""
    return max(1, round(count * float(os.environ.get(VARIABLE, "1"))))


def examples(count: int) -> settings:
    """Return the settings of a property that runs whole sequences.

    Args:
        count: Examples in the gate; see `times`.
    """
    return settings(
        max_examples=times(count),
        deadline=None,
        phases=[phase for phase in Phase if phase is not Phase.explain],  # that takes minutes
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )
