"""Progress in the terminal: what is being done, how far, and how long it will take."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

from builder.publish.report import Progress


@contextmanager
def shown_progress() -> Iterator[Progress]:
    """A progress bar while the block runs; where the output is not a terminal, only what keeps it waiting."""
    if not sys.stderr.isatty():
        yield lambda what, done, of: None if of else print(what, file=sys.stderr, flush=True)
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("looking for what changed", total=None)
        now = ""

        def tell(what: str, done: int, of: int) -> None:
            nonlocal now
            if what != now:  # another kind of work goes at another pace
                now = what
                bar.reset(task, description=what, total=of or None)
            bar.update(task, completed=done)

        yield tell
