"""Campaigns that are stopped with Ctrl-C: what was run is kept, and the same line goes on."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.support.house import ROOT
from tests.support.short_sequence import write_short_sequence

CASES = 3_000
"""More than are run before the stop comes."""
LOOKS = 1_200


def begun(path: Path, out: Path, *words: str) -> subprocess.Popen[str]:
    """Begin a campaign in a process group of its own, as a shell does."""
    asked = ("fuzz", str(path), "--out", str(out), "--json", "--cases", str(CASES), *words)
    return subprocess.Popen(
        [sys.executable, "-m", "coordinator.cli.app", *asked],
        cwd=ROOT,
        env={"PYTHONPATH": str(ROOT), "PATH": ""},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


def wait_until(running: subprocess.Popen[str], is_so: Callable[[], bool]) -> None:
    """Wait until something is so, or the campaign has ended or is much too slow."""
    for _ in range(LOOKS):
        if is_so() or running.poll() is not None:
            return
        try:
            running.wait(timeout=0.1)
        except subprocess.TimeoutExpired:
            continue


def numbers(out: Path) -> list[int]:
    """Return which cases are kept, in the order of their lines."""
    place = out / "results.jsonl"
    lines = place.read_text(encoding="utf-8").splitlines() if place.exists() else []
    return [json.loads(line)["number"] for line in lines]


def told_of(running: subprocess.Popen[str]) -> dict[str, Any]:
    """Return what a campaign told at its end."""
    out, err = running.communicate(timeout=120)
    assert "Traceback" not in err
    assert out, err
    told: dict[str, Any] = json.loads(out)
    return told


def stop_group(running: subprocess.Popen[str]) -> None:
    os.killpg(running.pid, signal.SIGINT)


def stop_it_alone(running: subprocess.Popen[str]) -> None:
    running.send_signal(signal.SIGINT)


@pytest.mark.parametrize("stop", [stop_group, stop_it_alone])
@pytest.mark.parametrize("count", ["1", "2"])
def test_what_was_run_before_a_stop_is_kept_and_reported(
    tmp_path: Path, count: str, stop: Callable[[subprocess.Popen[str]], None]
) -> None:
    """A terminal sends Ctrl-C to every process, a service only to the first."""
    path, out = write_short_sequence(tmp_path / "files"), tmp_path / "out"
    running = begun(path, out, "--workers", count)
    wait_until(running, lambda: len(numbers(out)) > 0)

    stop(running)
    told = told_of(running)

    kept = numbers(out)
    assert running.returncode == 3
    assert (told["ok"], told["stopped"]) == (False, True)
    assert 0 < told["cases"] == len(kept) == len(set(kept)) < CASES
    for name in ("report.html", "report.json", "report.junit.xml"):
        assert (out / name).stat().st_size > 500


def test_a_stop_before_the_first_case_is_no_success(tmp_path: Path) -> None:
    """The clean days come first; whoever stops then has found out nothing."""
    path, out = write_short_sequence(tmp_path / "files"), tmp_path / "out"
    running = begun(path, out, "--workers", "2")
    wait_until(running, (out / "campaign.json").exists)

    stop_group(running)
    running.communicate(timeout=120)

    assert running.returncode == 3


def test_a_second_stop_ends_at_once_and_keeps_what_was_counted(tmp_path: Path) -> None:
    """Whoever is in a hurry still loses nothing that was over."""
    path, out = write_short_sequence(tmp_path / "files"), tmp_path / "out"
    running = begun(path, out, "--workers", "2")
    wait_until(running, lambda: len(numbers(out)) > 0)

    stop_group(running)
    stop_group(running)
    _, err = running.communicate(timeout=120)

    assert running.returncode == 3, err
    assert len(numbers(out)) > 0
    assert "Traceback" not in err
