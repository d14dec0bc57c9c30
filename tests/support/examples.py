"""Tell how many examples a slow property is tried with: few in every run, more when asked for."""

import os

from hypothesis import HealthCheck, Phase, settings

VARIABLE = "BOTHSIDES_EXAMPLES_TIMES"


def examples(count: int) -> settings:
    """Return the settings of a property that runs whole sequences.

    Args:
        count: Examples in an ordinary run; the environment variable multiplies it.
    """
    return settings(
        max_examples=count * int(os.environ.get(VARIABLE, "1")),
        deadline=None,
        phases=[phase for phase in Phase if phase is not Phase.explain],  # that takes minutes
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )
