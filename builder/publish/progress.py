"""Progress in the terminal: what is being done, how far, and how long it will take."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from builder.publish.report import Progress


@contextmanager
def shown_progress() -> Iterator[Progress | None]:
    """A progress bar while the block runs; nothing where the output is not a terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    console = Console(stderr=True)
    if not console.is_terminal:
        yield None
        return
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Bar(*columns, console=console, transient=True) as bar:
        task = bar.add_task("reading", total=None)

        def tell(what: str, done: int, of: int) -> None:
            bar.update(task, description=what, completed=done, total=of)

        yield tell
