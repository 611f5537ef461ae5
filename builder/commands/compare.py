"""`millbook compare`."""

from __future__ import annotations

from pathlib import Path

import click

from builder.commands import common


@click.command("compare")
@click.argument("slugs", nargs=-1, type=common.slug, required=True, metavar="SLUG SLUG ...")
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), metavar="DIR", help="compare/ unless given.")
@common.archive_option
def command(slugs: tuple[str, ...], out: Path | None, archive: Path) -> None:
    """Write a page that compares builds.

    It has their curves over each other, what differs, and the records file by file.
    """
    from builder.publish.pages.archive.comparison import write_comparison

    with common.plain_errors():
        path = write_comparison(archive, slugs, out or archive / "compare", common.on_every_core)
    common.print_result([], [path], ok=True)
