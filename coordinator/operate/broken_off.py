"""Say how a run was left that something outside broke off: a full disk, a broker that is gone.

Every party was told to hold before the error got here, or holds by itself once its lease lapses.

Units: bytes.
"""

import errno
import shutil
from pathlib import Path

from coordinator.live.link import LinkUnreachable
from coordinator.live.runtime import Outcome
from coordinator.records.journal import JournalFailed
from coordinator.records.store import RecordsFailed

BROKEN_OFF = (JournalFailed, RecordsFailed, LinkUnreachable)
"""What ends a run that is under way, and leaves it held."""
FREE_MIN = 65_536
"""Chosen: a few blocks of the journal; with less than this nothing more can be written."""
FULL_WORDS = ("No space left", "disk is full", "quota exceeded")
"""As the system and the record store's database say it."""


def left_held(error: Exception, folder: Path, run: str) -> Outcome:
    """Return how a run ends that an error broke off.

    Args:
        error: One of `BROKEN_OFF`.
        folder: Of the run.
        run: Its name.
    """
    again = f"then resume with: bothsides resume {run}"
    if isinstance(error, LinkUnreachable):
        return Outcome("held", f"{error}; {again}")
    if is_full(error, folder):
        return Outcome("held", f"held: the disk of {folder} is full; free space, {again}")
    return Outcome("held", f"held: {error}; mend that, {again}")


def is_full(error: BaseException | None, folder: Path) -> bool:
    """Tell whether there is no room left to write."""
    if isinstance(cause := getattr(error, "__cause__", None), OSError):
        return cause.errno in (errno.ENOSPC, errno.EDQUOT)
    if any(words.lower() in str(error).lower() for words in FULL_WORDS):
        return True
    try:
        return shutil.disk_usage(folder).free < FREE_MIN
    except OSError:
        return False
