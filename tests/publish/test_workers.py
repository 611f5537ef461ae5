"""A worker pool gives the results that this process would, in order, and says clearly when a process is lost."""

from __future__ import annotations

import os
import signal
from functools import partial

import pytest

from builder.publish.errors import PublishError
from builder.publish.workers import INLINE, Task, WorkerPool


def square(number: int) -> int:
    """Return the square."""
    return number * number


def process_id(_: int = 0) -> int:
    """Return the number of the process in which it runs."""
    return os.getpid()


def fail(message: str) -> None:
    """Raise ValueError."""
    raise ValueError(message)


def end_worker(parent: int) -> int:
    """End the process in which it runs unless that is the parent."""
    if os.getpid() != parent:
        os.kill(os.getpid(), signal.SIGKILL)
    return 7


def test_map_keeps_the_order_and_counts() -> None:
    reports: list[tuple[str, int, int]] = []
    with WorkerPool(2, lambda *report: reports.append(report)) as workers:
        assert list(workers.map(square, range(12), step="squares")) == [n * n for n in range(12)]
        assert reports == [("squares", n, 12) for n in range(1, 13)]
        assert os.getpid() not in set(workers.map(process_id, range(2))), "its processes run already"


def test_few_items_and_one_core_are_done_here() -> None:
    with WorkerPool(2) as workers:
        assert set(workers.map(process_id, range(5))) == {os.getpid()}
        assert workers.submit(process_id, inline=True).result() == os.getpid()
    assert set(INLINE.map(process_id, range(50))) == {os.getpid()}
    assert INLINE.submit(process_id).result() == os.getpid()


def test_submitted_tasks_share_one_process() -> None:
    with WorkerPool(2) as workers:
        first, second = workers.submit(process_id), workers.submit(process_id)
        assert first.result() == second.result() == first.result() != os.getpid()


def test_inline_work_is_done_once() -> None:
    calls: list[int] = []
    task: Task[None] = INLINE.submit(partial(calls.append, 1))
    assert calls == []
    task.result()
    task.result()
    assert calls == [1]


def test_errors_of_the_work_are_raised_here(capfd: pytest.CaptureFixture[str]) -> None:
    with WorkerPool(2) as workers:
        with pytest.raises(ValueError, match="bore"):
            workers.submit(partial(fail, "bore")).result()
        with pytest.raises(ValueError, match="stroke"):
            list(workers.map(fail, ["stroke"] * 8))
    assert capfd.readouterr().err == ""


@pytest.mark.skipif(os.name == "nt", reason="kill -9 is a POSIX signal")
def test_a_lost_process_is_reported_or_its_work_done_here() -> None:
    work = partial(end_worker, os.getpid())
    with WorkerPool(2) as workers:
        with pytest.raises(PublishError, match="ended one of the processes"):
            workers.submit(work).result()
        assert workers.submit(work, retry=True).result() == 7
        assert workers.submit(process_id, retry=True).result() == os.getpid()
        with pytest.raises(PublishError, match="ended one of the processes"):
            list(workers.map(end_worker, range(8)))
