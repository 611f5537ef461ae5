"""Progress in the terminal: which step runs, how far it is, and how long it will take."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

from builder.publish.report import Progress


@contextmanager
def progress_bar() -> Iterator[Progress]:
    """Show a progress bar while the block runs; without a terminal, print the steps whose length is unknown."""
    if not sys.stderr.isatty():
        yield lambda step, done, total: None if total else print(step, file=sys.stderr, flush=True)
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("checking for changes", total=None)
        current = ""

        def update(step: str, done: int, total: int) -> None:
            nonlocal current
            if step != current:  # the time that remains is estimated for each step alone
                current = step
                bar.reset(task, description=step, total=total or None)
            bar.update(task, completed=done)

        yield update
