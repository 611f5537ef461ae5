"""A second process that works beside this one, so that a pack is made on two cores.

It loads matplotlib and MkDocs while this process reads the record, then draws, then makes the offline record's HTML
while this one writes pages and sets the binder. Where it cannot be had, or is lost, the work is done here.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import signal
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path
from types import TracebackType
from typing import TypeVar

R = TypeVar("R")


class Mate:
    """Does elsewhere what it is given; started afresh (spawn), so that every system behaves alike."""

    def __init__(self, archive: Path) -> None:
        """Start the process, which makes ready for the archive's pages."""
        how = multiprocessing.get_context("spawn")
        self._pipe, far = how.Pipe()
        self._process = how.Process(target=_work, args=(far, archive), daemon=True)
        self._process.start()
        far.close()  # so that its end is noticed here
        self._begun = 0

    def __enter__(self) -> Mate:
        """It has been started already."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the process, whatever it is at."""
        self._pipe.close()
        self._process.terminate()
        self._process.join()

    def begin(self, work: Callable[[], R]) -> Callable[[], R]:
        """Begin with some work, which must be fit to be sent and to be done twice; its result is had by calling
        what is returned.
        """
        self._begun += 1
        which = self._begun
        with contextlib.suppress(OSError):  # the process is lost, which shows below
            self._pipe.send((which, work))

        def wait() -> R:
            try:
                while True:
                    of, result = self._pipe.recv()
                    if of == which:  # else it was not waited for
                        done: R = result
                        return done
            except (EOFError, OSError):
                return work()

        return wait


def alone(work: Callable[[], R]) -> Callable[[], R]:
    """The same without a mate: the work is done when its result is asked for."""
    return work


def _work(pipe: Connection, archive: Path) -> None:
    """Load what the work takes, then do what comes until the other end is closed.

    What goes wrong ends the process without a word: the other end does the work itself, and sees why.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the process that started this one
    with contextlib.suppress(Exception):
        from builder.draw import svg_canvas  # noqa: F401
        from builder.draw.charts import (  # noqa: F401
            channels,
            comparison,
            deck_stack,
            piston_speed,
            positions,
            power,
            tightening,
            valve_timing,
        )
        from builder.publish.site.mkdocs_site import preload

        preload(archive)
    with contextlib.suppress(Exception):
        while True:
            which, work = pipe.recv()
            pipe.send((which, work()))
