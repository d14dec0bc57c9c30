"""A sequence for tests of the live page: a hold point, then one paired pull."""

from pathlib import Path

from tests.support.sequence_files import write_sequence
from tests.support.short_sequence import _BODY, _HEAD

_POINTS = """
points:
  bolts_looked_at:
    kind: hold
    who: the inspector
    text: Look at every bolt. Release when all are of the right grade.
"""


def write_page_sequence(folder: Path) -> Path:
    """Write it beside copies of the shipped cells and joints, and return its path."""
    body = _BODY.replace("lanes:\n  fore:\n", "lanes:\n  fore:\n    - point: bolts_looked_at\n")
    return write_sequence(folder, _POINTS + body, head=_HEAD)
