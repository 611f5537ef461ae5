"""Many hands: the same work for many builds, on every core."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import CancelledError, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from functools import cache
from types import TracebackType
from typing import TypeVar

from builder.publish.errors import PublishError
from builder.publish.rings import not_looked_for_at_the_end

T = TypeVar("T")
R = TypeVar("R")

FEW = 5
"""With so few things to do, starting other processes takes longer than doing them."""


class WorkerPool:
    """Other processes to work in, started when they are first worth it and kept to the end: one for each core for
    the same work many times, and one that does other work while this process goes on.

    They are started afresh (spawn), so that every system behaves alike; work and items must be fit to be sent
    to another process. They end with the process that started them, even when that is killed.
    """

    def __init__(self) -> None:
        """Start nothing yet."""
        self._pool: ProcessPoolExecutor | None = None
        self._other: ProcessPoolExecutor | None = None
        self._at_work = False  # whether they have loaded what drawing takes
        self.count = _available_cpus()

    def __enter__(self) -> WorkerPool:
        """Nothing is started before there is work."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Send them home, without what they had not begun."""
        for pool in (self._pool, self._other):
            if pool is not None:
                pool.shutdown(cancel_futures=True)

    def map(
        self,
        work: Callable[[T], R],
        items: Sequence[T],
        *,
        inline_up_to: int = FEW,
        after: Callable[[int], None] = lambda done: None,
    ) -> Iterator[R]:
        """The results of `work` on every item, in order; `after` is told how many are done.

        Up to `few` items are done here. Raises PublishError when the system ends one of the processes.
        """
        if self.count == 1 or len(items) <= (1 if self._at_work else inline_up_to):
            for done, item in enumerate(items):
                yield work(item)
                after(done + 1)
            return
        self._at_work = True
        chunk = max(1, min(8, len(items) // (4 * self.count)))
        with _translate_broken_pool():
            if self._pool is None:
                self._pool = _new_pool(self.count)
            for done, result in enumerate(self._pool.map(work, items, chunksize=chunk)):
                yield result
                after(done + 1)

    @contextlib.contextmanager
    def background(self, work: Callable[[], R], *, enabled: bool = True) -> Iterator[Callable[[], R]]:
        """Do some work in the other process, after what it has to do already, while the block runs, which may wait
        for its result.

        It is over when the block is left. With one core, or when it is not `worth` a process, it is done here when it
        is waited for.
        """
        if self.count == 1 or not enabled:
            yield cache(work)
            return
        with _translate_broken_pool():
            if self._other is None:
                self._other = _new_pool(1)
            future = self._other.submit(work)

        def wait() -> R:
            with _translate_broken_pool():
                return future.result()

        try:
            yield wait
        finally:
            future.cancel()
            with contextlib.suppress(Exception, CancelledError):
                future.result()

    def run_in_background_worker(self, work: Callable[[], R]) -> R:
        """Do some work in the other process where it is there already, else here."""
        if self._other is None:
            return work()
        with _translate_broken_pool():
            return self._other.submit(work).result()


def _new_pool(count: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(count, multiprocessing.get_context("spawn"), _worker_init)


@contextlib.contextmanager
def _translate_broken_pool() -> Iterator[None]:
    try:
        yield
    except BrokenProcessPool as error:
        raise PublishError(
            "the system ended one of the processes that read and draw; is there enough memory? "
            "The site that stood there still stands."
        ) from error


def _available_cpus() -> int:
    try:
        return len(os.sched_getaffinity(0))  # what this process may use, which can be less than there are
    except AttributeError:
        return os.cpu_count() or 1


def _worker_init() -> None:
    """Leave Ctrl-C to the process that started this one, and go when it goes, at once."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    not_looked_for_at_the_end()
    parent = multiprocessing.parent_process()

    def follow() -> None:
        if parent is not None:
            parent.join()
        os._exit(1)

    threading.Thread(target=follow, daemon=True).start()
