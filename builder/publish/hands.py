"""Many hands: the same work for many builds, on every core."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from typing import TypeVar

T = TypeVar("T")
R = TypeVar("R")

_FEW = 5
"""With so few things to do, starting other processes takes longer than doing them."""


def each(
    work: Callable[[T], R], items: Sequence[T], *, after: Callable[[int], None] = lambda done: None
) -> Iterator[R]:
    """The results of `work` on every item, in order; `after` is told how many are done.

    Processes are started afresh (spawn), so that every system behaves alike; `work` and the items must be
    fit to be sent to another process.
    """
    cores = os.cpu_count() or 1
    if len(items) <= _FEW or cores == 1:
        for done, item in enumerate(items):
            yield work(item)
            after(done + 1)
        return
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    with ProcessPoolExecutor(cores, mp_context=multiprocessing.get_context("spawn")) as pool:
        for done, result in enumerate(pool.map(work, items, chunksize=max(1, min(8, len(items) // (4 * cores))))):
            yield result
            after(done + 1)
