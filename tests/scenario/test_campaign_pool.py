"""Workers: a lost one loses no job."""

import os
import signal
from pathlib import Path

import pytest

from coordinator.campaign.pool import Job, WorkersLost, workers


def square(number: int) -> int:
    return number * number


def die_once(place: Path, number: int) -> int:
    """Die in the middle of the job, the first time."""
    if not place.exists():
        place.write_text("dead", encoding="utf-8")
        os.kill(os.getpid(), signal.SIGKILL)
    return square(number)


def die(number: int) -> int:
    os.kill(os.getpid(), signal.SIGKILL)
    return number


def fail(number: int) -> int:
    raise ValueError(f"no square of {number}")


@pytest.mark.parametrize("count", [1, 2])
def test_every_job_is_done_once_whatever_the_number_of_workers(count: int) -> None:
    """The same campaign on one worker and on many."""
    results: dict[int, int] = {}
    with workers(count) as pool:
        for number in range(6):
            pool.submit(Job(number, square, (number,)))
        while not pool.is_idle:
            results.update({job.tag: result for job, result in pool.finished()})

    assert results == {number: number * number for number in range(6)}


def test_a_worker_that_is_killed_loses_no_job(tmp_path: Path) -> None:
    """CA1: its jobs, and those that waited behind them, are done by another."""
    results: list[tuple[int, int]] = []
    with workers(2) as pool:
        pool.submit(Job(9, die_once, (tmp_path / "dead", 9)))
        for number in range(4):
            pool.submit(Job(number, square, (number,)))
        while not pool.is_idle:
            results += [(job.tag, result) for job, result in pool.finished()]

    assert sorted(results) == [(0, 0), (1, 1), (2, 4), (3, 9), (9, 81)]


def test_a_job_that_raises_is_not_tried_again_and_again() -> None:
    """An error of ours is told; only a death is bad luck."""
    with workers(1) as pool:
        pool.submit(Job(1, fail, (1,)))

        with pytest.raises(ValueError, match="no square of 1"):
            pool.finished()


def test_jobs_that_kill_every_worker_end_the_campaign(monkeypatch: pytest.MonkeyPatch) -> None:
    """Otherwise it would go on for ever."""
    monkeypatch.setattr("coordinator.campaign.pool.LOST_MAX", 1)
    with workers(2) as pool:
        pool.submit(Job(1, die, (1,)))

        assert pool.finished() == []
        with pytest.raises(WorkersLost, match="2 times in a row"):
            pool.finished()
