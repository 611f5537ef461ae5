"""Other processes that share the work of a publish or of a delivery pack."""

from __future__ import annotations

import atexit
import contextlib
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from functools import cache
from types import TracebackType
from typing import Generic, TypeVar

from builder.publish.errors import PublishError
from builder.publish.garbage_collection import collect_less_often
from builder.publish.report import Progress, no_progress

T = TypeVar("T")
R = TypeVar("R")

FEW = 5
"""Up to so many items are worked on in this process: starting others would take longer."""


class Task(Generic[R]):
    """Some work that was given to a worker pool, with its result."""

    def __init__(self, work: Callable[[], R], future: Future[R] | None, *, retry: bool) -> None:
        """Hold the work and its future; without a future the work is done here when the result is asked for."""
        self._inline, self._future, self._retry = cache(work), future, retry

    def result(self) -> R:
        """Return the result once it is there. Raises what the work raised, and PublishError if its process ended."""
        if self._future is None:
            return self._inline()
        try:
            with _translate_broken_pool():
                return self._future.result()
        except PublishError as error:
            if self._retry and isinstance(error.__cause__, BrokenProcessPool):
                return self._inline()
            raise


class WorkerPool:
    """Worker processes, started when there is work for them: one for each core for `map`, one more for `submit`.

    They are started afresh (spawn) on every system, so work and items must be fit to be pickled. They end with this
    process, even when it is killed.
    """

    def __init__(self, count: int | None = None, progress: Progress = no_progress) -> None:
        """Use so many processes, one for each core unless given; with 1 all work is done in this process."""
        self.count = count or _available_cpus()
        self.progress = progress
        self._mappers: ProcessPoolExecutor | None = None
        self._background: ProcessPoolExecutor | None = None

    def __enter__(self) -> WorkerPool:
        """Return the pool itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Wait for what runs, cancel the rest and end the processes."""
        self.close()

    def close(self) -> None:
        """Wait for what runs, cancel the rest and end the processes."""
        for pool in (self._mappers, self._background):
            if pool is not None:
                pool.shutdown(cancel_futures=True)

    def map(
        self,
        work: Callable[[T], R],
        items: Sequence[T],
        *,
        step: str = "",
        inline_up_to: int = FEW,
    ) -> Iterator[R]:
        """Yield the results of `work` on every item, in order, and report the progress of this step if it is named.

        Up to `inline_up_to` items are done in this process, unless other processes run for an earlier map already.
        Raises PublishError when the system ends one of the processes.
        """
        if self.count == 1 or len(items) <= (inline_up_to if self._mappers is None else 1):
            results: Iterator[R] = map(work, items)
        else:
            results = self._map(work, items)
        for done, result in enumerate(results, 1):
            yield result
            if step:
                self.progress(step, done, len(items))

    def _map(self, work: Callable[[T], R], items: Sequence[T]) -> Iterator[R]:
        chunk = max(1, min(8, len(items) // (4 * self.count)))
        self._mappers = self._mappers or _new_pool(self.count)
        with _translate_broken_pool():
            yield from self._mappers.map(work, items, chunksize=chunk)

    def submit(self, work: Callable[[], R], *, inline: bool = False, retry: bool = False) -> Task[R]:
        """Return a task that runs in the background process, after those submitted before it.

        All tasks share one process, so that what one loads the next finds loaded. With one core or with `inline` the
        work is done here when its result is asked for. `retry` is for work that may be done twice: it is done here
        when the process is lost.
        """
        if self.count == 1 or inline:
            return Task(work, None, retry=retry)
        self._background = self._background or _new_pool(1)
        try:
            return Task(work, self._background.submit(work), retry=retry)
        except BrokenProcessPool as error:
            lost: Future[R] = Future()
            lost.set_exception(error)
            return Task(work, lost, retry=retry)


INLINE = WorkerPool(1)
"""Starts no process."""


def _new_pool(count: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(count, multiprocessing.get_context("spawn"), _worker_init)


@contextlib.contextmanager
def _translate_broken_pool() -> Iterator[None]:
    try:
        yield
    except BrokenProcessPool as error:
        raise PublishError(
            "the system ended one of the processes that read and draw; is there enough memory? "
            "The existing site is unchanged."
        ) from error


def _available_cpus() -> int:
    try:
        return len(os.sched_getaffinity(0))  # which can be fewer than the machine has
    except AttributeError:
        return os.cpu_count() or 1


def _worker_init() -> None:
    """Collect garbage less often, leave Ctrl-C to the process that started this one, and end as soon as it does."""
    collect_less_often()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    atexit.register(os._exit, 0)  # the results are sent by then; taking the modules down would take 0.1 to 0.2 s more
    parent = multiprocessing.parent_process()

    def end_with_parent() -> None:
        if parent is not None:
            parent.join()
        os._exit(1)

    threading.Thread(target=end_with_parent, daemon=True).start()
