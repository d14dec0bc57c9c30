"""Hosts on one machine: network namespaces of Linux on a switch, whose cables can be pulled.

All of it lives in namespaces of its own, so that nothing of the machine's own network is touched.

Source: Linux manual pages `ip-netns(8)`, `veth(4)`, `setns(2)`.
"""

import contextlib
import ctypes
import os
import shutil
import subprocess
from collections.abc import Iterator, Sequence
from pathlib import Path

IP = shutil.which("ip") or shutil.which("ip", path="/usr/sbin:/sbin")
CLONE_NEWNET = 0x40000000
"""`setns(2)`: a network namespace is meant."""
NAMES = Path("/run/netns")


class Hosts:
    """Hosts that all reach each other until a cable is pulled."""

    def __init__(self, names: Sequence[str]) -> None:
        self._names = tuple(names)
        self._mark = f"hosts{os.getpid()}"

    def address(self, name: str) -> str:
        """Return where a host is, in a network that only these hosts know."""
        return f"10.77.0.{self._names.index(name) + 1}"

    def command(self, name: str, *words: str) -> list[str]:
        """Return a command line that runs another on a host."""
        return [str(IP), "netns", "exec", self._space(name), *words]

    def enter(self, name: str) -> None:
        """Move the process that calls this onto a host, for good."""
        libc = ctypes.CDLL(None, use_errno=True)
        descriptor = os.open(NAMES / self._space(name), os.O_RDONLY)
        failed = libc.setns(descriptor, CLONE_NEWNET)
        number = ctypes.get_errno()
        os.close(descriptor)
        if failed:
            raise OSError(number, os.strerror(number))

    def pull_cable(self, name: str) -> None:
        """Part a host from the switch; nobody is told, packets are lost."""
        self._in("switch", "link", "set", self._port(name), "down")

    def plug_cable(self, name: str) -> None:
        """Join it again."""
        self._in("switch", "link", "set", self._port(name), "up")

    def build(self) -> None:
        """Make the switch, the hosts and their cables."""
        self._add("switch")
        self._in("switch", "link", "add", "bridge", "type", "bridge")
        self._in("switch", "link", "set", "bridge", "up")
        for name in self._names:
            port, space = self._port(name), self._space(name)
            self._add(name)
            self._in("switch", "link", "add", port, "type", "veth", "peer", "eth", "netns", space)
            self._in("switch", "link", "set", port, "master", "bridge", "up")
            self._in(name, "address", "add", f"{self.address(name)}/24", "dev", "eth")
            self._in(name, "link", "set", "eth", "up")
            self._in(name, "link", "set", "lo", "up")

    def remove(self) -> None:
        """Leave nothing behind; cables go with their ends."""
        for name in (*self._names, "switch"):
            if (NAMES / self._space(name)).exists():
                _ip("netns", "delete", self._space(name))

    def _add(self, name: str) -> None:
        _ip("netns", "add", self._space(name))

    def _in(self, name: str, *words: str) -> None:
        _ip("-n", self._space(name), *words)

    def _space(self, name: str) -> str:
        return f"{self._mark}{name}"

    def _port(self, name: str) -> str:
        return f"port{self._names.index(name)}"


@contextlib.contextmanager
def hosts(names: Sequence[str]) -> Iterator[Hosts]:
    """Build hosts, and remove them whatever happens."""
    network = Hosts(names)
    try:
        network.build()
        yield network
    finally:
        network.remove()


def why_no_hosts() -> str:
    """Return why this machine lets us make no hosts; empty if it does."""
    if IP is None:
        return "no program `ip` (Debian package iproute2)"
    try:
        with hosts(["probe"]):
            return ""
    except subprocess.CalledProcessError as error:
        return f"no network namespaces: {error.stderr.strip()}"


def _ip(*words: str) -> None:
    assert IP is not None
    subprocess.run([IP, *words], check=True, capture_output=True, text=True)
