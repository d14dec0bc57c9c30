"""Unit tests stay by themselves: no process of their own, no net, no file but under `tmp_path`."""

import os
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

ALONE = ("subprocess.Popen", "os.fork", "os.posix_spawn", "os.system", "socket.connect")
WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT
ALLOWED = (tempfile.gettempdir(), "/dev/")


class Watch:
    """Notes what Python itself says is done, while a test runs."""

    def __init__(self) -> None:
        self.is_on = False
        self.seen: list[str] = []

    def __call__(self, event: str, args: tuple[object, ...]) -> None:
        """Be told by Python; never object here, where code under test could swallow it."""
        if not self.is_on:
            return
        if event in ALONE:
            self.seen.append(f"{event} {args[0] if args else ''}")
        elif event == "open" and is_written(*args):
            self.seen.append(f"{args[0]!s} is written")


def is_written(path: object, _mode: object = None, flags: object = 0, *_: object) -> bool:
    """Whether a file is opened to be written where a unit test has nothing to write."""
    if not isinstance(path, str | bytes | os.PathLike) or not isinstance(flags, int):
        return False
    place = Path(os.fsdecode(path)).absolute().as_posix()
    is_python = "__pycache__" in place
    return bool(flags & WRITES) and not place.startswith(ALLOWED) and not is_python


WATCH = Watch()
sys.addaudithook(WATCH)


@pytest.fixture(autouse=True)
def by_itself() -> Iterator[None]:
    """Fail a test that was not alone: it belongs into another folder (see tests/README.md)."""
    WATCH.seen.clear()
    WATCH.is_on = True
    yield
    WATCH.is_on = False
    assert WATCH.seen == [], "this is no unit test; tests/README.md says where it goes"
