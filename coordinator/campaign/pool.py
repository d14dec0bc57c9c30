"""Workers: here in this process, next door in processes, or on a Dask cluster far away.

Invariants: CA1, a worker that is lost loses no case: what it had is done by another.
"""

import re
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from multiprocessing import get_context
from typing import Any, Generic, TypeVar

from coordinator.extras import missing_extra

LOST_MAX = 20
"""Workers lost in a row until we are sure that it is our own jobs that kill them."""
ANSWER_S = 10
"""Chosen: a scheduler that is there answers in well under a second."""
DEPTH = 2
"""Jobs that a worker far from us has at a time: one that it does, and the next."""
_ADDRESS = re.compile(r"(tcp|tls)://(\[[0-9A-Fa-f:.%\w]+\]|[\w.-]+):\d{1,5}")

_Tag = TypeVar("_Tag")
_Thing = TypeVar("_Thing")


class WorkersLost(Exception):  # noqa: N818 (it says what happened)
    """Workers die whatever we do."""


class NoCluster(Exception):  # noqa: N818 (it says what is not there)
    """There is no scheduler to work on."""


class _Worker(ProcessPoolExecutor):
    """A process that never hears Ctrl-C: what it does is still counted."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        # A process begins with the signals blocked that are blocked where it is begun; one that
        # comes meanwhile waits for us.
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        try:
            return super().submit(fn, *args, **kwargs)
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)


class _Here(Executor):
    """Does each job at once, in this process."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


@dataclass(frozen=True, slots=True)
class Job(Generic[_Tag]):
    """A job with what its asker knows it by."""

    tag: _Tag
    call: Callable[..., Any]
    given: tuple[Any, ...] = field(default=())
    lane: int = -1
    """Which worker does it, and has what it kept of earlier jobs at hand; -1 for any."""


class Pool(Generic[_Tag]):
    """Jobs that are being done, and those to do again since their worker was lost."""

    def __init__(self, opened: Callable[[int], Executor], width: int, depth: int = 1) -> None:
        """Open the first workers.

        Args:
            opened: Opens the worker of a lane; asked again if it is lost.
            width: How many jobs are done at a time.
            depth: How many a worker is given at a time, so that it never waits for the next.
        """
        self.width = width
        self.depth = depth
        self._opened = opened
        self._lanes = [opened(lane) for lane in range(width)]
        self._running: dict[Future[Any], Job[_Tag]] = {}
        self._lost = 0

    @property
    def is_idle(self) -> bool:
        """Tell whether nothing is being done."""
        return not self._running

    def free_lanes(self) -> list[int]:
        """Return which workers can be given a job, those with the least to do first."""
        loads = self._loads()
        free = [lane for lane in range(self.width) if loads[lane] < self.depth]
        return sorted(free, key=lambda lane: loads[lane])

    def submit(self, job: Job[_Tag]) -> None:
        """Give a job to its worker, or to the one that has the least to do."""
        if job.lane < 0:
            loads = self._loads()
            job = replace(job, lane=min(range(self.width), key=lambda lane: loads[lane]))
        try:
            future = self._lanes[job.lane].submit(job.call, *job.given)
        except BrokenProcessPool:
            self._open_again(job.lane)
            future = self._lanes[job.lane].submit(job.call, *job.given)
        self._running[future] = job

    def finished(self, timeout_s: float | None = None) -> list[tuple[Job[_Tag], Any]]:
        """Wait until some job is done; return what is, in the order in which it was given.

        Raises:
            WorkersLost: they die again and again.
        """
        done, _ = wait(self._running, timeout=timeout_s, return_when=FIRST_COMPLETED)
        results: list[tuple[Job[_Tag], Any]] = []
        again: list[Job[_Tag]] = []
        for future in [one for one in self._running if one in done]:
            job = self._running.pop(future)
            try:
                results.append((job, future.result()))
                self._lost = 0
            except BrokenProcessPool:
                again.append(job)
        for lane in dict.fromkeys(job.lane for job in again):
            again += [job for job in self._running.values() if job.lane == lane]
            self._open_again(lane)
        for job in again:
            self.submit(job)
        return results

    def close(self) -> None:
        """Let the workers go; what they have not begun is dropped."""
        for future in self._running:
            future.cancel()
        for lane in self._lanes:
            lane.shutdown(wait=True)

    def _loads(self) -> list[int]:
        loads = [0] * self.width
        for job in self._running.values():
            loads[job.lane] += 1
        return loads

    def _open_again(self, lane: int) -> None:
        self._lost += 1
        if self._lost > LOST_MAX:
            raise WorkersLost(
                f"{self._lost} times in a row a worker died over its job; see whether memory runs "
                "out, and try fewer --workers; what was counted until then is kept"
            )
        self._running = {one: job for one, job in self._running.items() if job.lane != lane}
        self._lanes[lane].shutdown(wait=False)
        self._lanes[lane] = self._opened(lane)


@contextmanager
def workers(count: int, address: str = "") -> Iterator[Pool[Any]]:
    """Open workers, and close them at the end.

    Args:
        count: Processes here; 1 works in this process.
        address: Of a Dask scheduler, `tcp://host:port`, instead; its workers need this program.

    Raises:
        NoCluster: there is no scheduler, or nobody here who could speak with one.
    """
    with _cluster(address) if address else _local(count) as pool:
        try:
            yield pool
        finally:
            pool.close()


@contextmanager
def _local(count: int) -> Iterator[Pool[Any]]:
    if count == 1:
        yield Pool(lambda lane: _Here(), 1)
        return
    # Spawned, not forked: a worker begins with nothing of ours but the program.
    spawned = get_context("spawn")
    yield Pool(lambda lane: _Worker(1, mp_context=spawned), count, DEPTH)


def wrong_with_address(address: str) -> str:
    """Return what is wrong with the address of a scheduler, empty for nothing."""
    if not _ADDRESS.fullmatch(address):
        return (
            f"--on is '{address}', must be tcp://HOST:PORT or tls://HOST:PORT of a Dask "
            "scheduler; it prints its own when it starts"
        )
    return missing_extra("cluster", "--on")


@contextmanager
def _cluster(address: str) -> Iterator[Pool[Any]]:
    if wrong := wrong_with_address(address):
        raise NoCluster(wrong)
    from distributed import Client

    try:
        client = Client(address, timeout=f"{ANSWER_S}s")
    except (OSError, ValueError):
        raise NoCluster(
            f"--on is '{address}', where no Dask scheduler answers within {ANSWER_S} s; start one "
            "there, or correct the address"
        ) from None
    try:
        # A worker may do several jobs at a time; each of them is a lane of its own.
        lanes = [name for name, count in client.nthreads().items() for _ in range(count)]
        if not lanes:
            raise NoCluster(
                f"--on is '{address}', a scheduler that has no worker; start some with "
                f"dask worker {address}"
            )

        def opened(lane: int) -> Executor:
            # Dask gives the job of a lost worker to another by itself.
            executor: Executor = client.get_executor(
                pure=False, retries=LOST_MAX, workers=[lanes[lane]], allow_other_workers=True
            )
            return executor

        yield Pool(opened, len(lanes), DEPTH)
    finally:
        client.close()


def in_parts(things: Sequence[_Thing], size: int) -> Iterator[Sequence[_Thing]]:
    """Yield things in parts of at most a size."""
    for start in range(0, len(things), size):
        yield things[start : start + size]
