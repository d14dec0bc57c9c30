"""A PostgreSQL server of our own in a folder of the test, reached by a socket in it alone."""

import contextlib
import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

USER = "bothsides"


def programs() -> Path | None:
    """Return the folder of the newest server that Debian has installed, None if there is none."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return found[-1].parent if found else None


@contextlib.contextmanager
def running_server() -> Iterator[str]:
    """Start a server and yield the address of an empty database; it is gone afterwards."""
    folder = programs()
    assert folder is not None, "install Debian's postgresql; tests/all.sh does"
    # The path of a socket has little more than a hundred characters.
    place = Path(tempfile.mkdtemp(prefix="pg"))
    settings = f"-c listen_addresses='' -k {place} -c fsync=off"
    try:
        if os.geteuid() == 0:  # The server refuses to be root.
            owner = pwd.getpwnam("postgres")
            os.chown(place, owner.pw_uid, owner.pw_gid)
        data = str(place / "data")
        # Debian's default locale would need to be installed; C sorts by bytes and always is.
        _run(folder / "initdb", "-D", data, "-U", USER, "-A", "trust", "--locale=C", "-E", "UTF8")
        log = str(place / "log")
        _run(folder / "pg_ctl", "-D", data, "-l", log, "-w", "-o", settings, "start")
        try:
            yield f"postgresql+psycopg://{USER}@/postgres?host={place}"
        finally:
            _run(folder / "pg_ctl", "-D", data, "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(place, ignore_errors=True)


def _run(program: Path, *words: str) -> None:
    user = "postgres" if os.geteuid() == 0 else None
    subprocess.run(
        [str(program), *words], check=True, user=user, cwd="/", stdout=subprocess.DEVNULL
    )
