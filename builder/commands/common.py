"""What several commands share: options, the way a build is named, and how problems are printed."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, NoReturn, TypeVar

import click

if TYPE_CHECKING:
    from builder.publish.english import English
    from builder.publish.plan_report import PlanReport
    from builder.publish.report import PublishReport
    from builder.record.report import CommandReport

T = TypeVar("T")
R = TypeVar("R")

_FEW_BUILDS = 30
"""Up to so many builds are read sooner than other processes start."""

archive_option = click.option(
    "--archive",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("."),
    metavar="DIR",
    help="Folder that holds builds/; the current folder unless given.",
)
json_option = click.option("--json", "as_json", is_flag=True, help="As JSON, values in SI units.")


def slug(text: str) -> str:
    """Return the name of a build, which may also be written as its folder's path, as a shell completes it.

    A path with a suffix is a file, not a build, and comes back unchanged.
    """
    path = PurePath(text)
    return path.name if not path.suffix and (path.parent.name == "builds" or len(path.parts) == 1) else text


@contextmanager
def plain_errors() -> Iterator[None]:
    """Print an error that has a message for the user as that message, with exit status 1, or 2 if work was refused."""
    try:
        yield
    except Exception as error:
        from builder.archive.query import QueryError
        from builder.publish.errors import PublishError
        from builder.record.files import ArchiveError

        if not isinstance(error, (PublishError, QueryError, ArchiveError)):
            raise
        click.echo(_translated(f"Error: {error}"), err=True)
        sys.exit(2 if isinstance(error, ArchiveError) else getattr(error, "exit_status", 1))


def on_every_core(work: Callable[[T], R], items: Sequence[T]) -> Iterator[R]:
    """Yield the result of `work` for each build, in order, with a progress bar; many builds are shared by processes."""
    from builder.commands.progress import progress_bar
    from builder.publish.workers import WorkerPool

    with progress_bar() as progress, WorkerPool(progress=progress) as workers:
        yield from workers.map(work, items, step="reading builds", inline_up_to=_FEW_BUILDS)


def echo(line: object) -> None:
    """Print a line in the English of the archive that the command is about."""
    click.echo(_translated(str(line)))


def print_report(report: CommandReport | PlanReport | PublishReport) -> NoReturn:
    """Print what a command found, and exit with status 0 if all is well, else 1."""
    print_result(report.problems, report.lines, ok=report.ok)


def print_result(problems: Iterable[object], lines: Iterable[object], *, ok: bool) -> NoReturn:
    """Print problems to stderr and lines to stdout, and exit with status 0 if ``ok``, else 1."""
    for problem in problems:
        click.echo(_translated(str(problem)), err=True)
    for line in lines:
        echo(line)
    sys.exit(0 if ok else 1)


def _translated(text: str) -> str:
    """Return a line of output in the English of the archive that the command is about; JSON stays as it is."""
    return text if (english := _english()) is None else english.text(text)


def _english() -> English | None:
    context = click.get_current_context(silent=True)
    if context is None or context.params.get("as_json") or not isinstance(context.params.get("archive"), Path):
        return None
    from builder.publish.english import english_of_messages

    if "english" not in context.meta:
        named = (context.params.get(name) for name in ("slugs", "slug", "target"))
        slugs = [slug for names in named for slug in ((names,) if isinstance(names, str) else names or ())]
        context.meta["english"] = english_of_messages(context.params["archive"], slugs)
    english: English = context.meta["english"]
    return english
