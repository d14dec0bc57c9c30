"""Workers: here in this process, next door in processes, or on a Dask cluster far away.

Keeps: Q1, a worker that is lost loses no case: what it had is done by another.
"""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, field
from multiprocessing import get_context
from typing import Any, Generic, TypeVar

LOST_MAX = 20
"""Workers lost in a row until we are sure that it is our own jobs that kill them."""

_Tag = TypeVar("_Tag")


class WorkersLost(Exception):  # noqa: N818 (it says what happened)
    """Workers die whatever we do."""


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


class Pool(Generic[_Tag]):
    """Jobs that are being done, and those to do again since their worker was lost."""

    def __init__(self, opened: Callable[[], Executor], width: int) -> None:
        """Open the first workers.

        Args:
            opened: Opens workers; asked again if they are lost.
            width: How many jobs are done at a time.
        """
        self.width = width
        self._opened = opened
        self._executor = opened()
        self._running: dict[Future[Any], Job[_Tag]] = {}
        self._lost = 0

    @property
    def is_full(self) -> bool:
        """Tell whether every worker has a job, and one to go on with."""
        return len(self._running) >= self.width + (1 if self.width > 1 else 0)

    @property
    def is_idle(self) -> bool:
        """Tell whether nothing is being done."""
        return not self._running

    def submit(self, job: Job[_Tag]) -> None:
        """Give a job to a worker."""
        try:
            self._running[self._executor.submit(job.call, *job.given)] = job
        except BrokenProcessPool:
            self._open_again()
            self._running[self._executor.submit(job.call, *job.given)] = job

    def finished(self, timeout_s: float | None = None) -> list[tuple[Job[_Tag], Any]]:
        """Wait until some job is done; return what is.

        Raises:
            WorkersLost: they die again and again.
        """
        done, _ = wait(self._running, timeout=timeout_s, return_when=FIRST_COMPLETED)
        results: list[tuple[Job[_Tag], Any]] = []
        again: list[Job[_Tag]] = []
        for future in done:
            job = self._running.pop(future)
            try:
                results.append((job, future.result()))
                self._lost = 0
            except BrokenProcessPool:
                again.append(job)
        if again:
            again += self._running.values()
            self._open_again()
            for job in again:
                self.submit(job)
        return results

    def close(self) -> None:
        """Let the workers go; what they have not begun is dropped."""
        for future in self._running:
            future.cancel()
        self._executor.shutdown(wait=True)

    def _open_again(self) -> None:
        self._lost += 1
        if self._lost > LOST_MAX:
            raise WorkersLost(f"{self._lost} times in a row a worker died over its job")
        self._running.clear()
        self._executor.shutdown(wait=False)
        self._executor = self._opened()


@contextmanager
def workers(count: int, address: str = "") -> Iterator[Pool[Any]]:
    """Open workers, and close them at the end.

    Args:
        count: Processes here; 1 works in this process.
        address: Of a Dask scheduler, `tcp://host:port`, instead; its workers need this program.
    """
    if address:
        with _cluster(address) as (opened, width):
            pool: Pool[Any] = Pool(opened, width)
            try:
                yield pool
            finally:
                pool.close()
        return
    pool = Pool(_local(count), count)
    try:
        yield pool
    finally:
        pool.close()


def _local(count: int) -> Callable[[], Executor]:
    if count == 1:
        return _Here
    # Spawned, not forked: a worker begins with nothing of ours but the program.
    return lambda: ProcessPoolExecutor(count, mp_context=get_context("spawn"))


@contextmanager
def _cluster(address: str) -> Iterator[tuple[Callable[[], Executor], int]]:
    from distributed import Client

    client = Client(address, timeout="10s")
    try:
        width = max(1, sum(client.nthreads().values()))
        # Dask gives the job of a lost worker to another by itself.
        yield (lambda: client.get_executor(pure=False, retries=LOST_MAX)), width
    finally:
        client.close()


def in_parts(numbers: Sequence[int], size: int) -> Iterator[Sequence[int]]:
    """Yield numbers in parts of at most a size."""
    for start in range(0, len(numbers), size):
        yield numbers[start : start + size]
