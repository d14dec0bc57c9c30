"""Keep Python from looking for circles among objects for as long as something short runs.

What only grows, or is made and dropped by the thousand, is looked through again and again for
nothing; what lies in circles meanwhile is found once the collector looks again.
"""

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def without_collector() -> Iterator[None]:
    """Let the collector rest, and leave it as it was found."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
