"""A pytest plugin for hunting: the first example that fails is enough, and the time is told.

Units: seconds of the processor.
"""

import time

import pytest
from hypothesis import Phase, settings

SPENT = "spent of the processor:"

settings.register_profile("hunting", phases=(Phase.explicit, Phase.generate), database=None)
settings.load_profile("hunting")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Tell how long the tests took."""
    terminalreporter.write_line(f"{SPENT} {time.process_time():.1f} s")
