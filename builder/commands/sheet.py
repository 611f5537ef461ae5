"""`millbook sheet`."""

from __future__ import annotations

from pathlib import Path

import click

from builder.commands import common


@click.command("sheet")
@click.argument("slug", type=common.slug)
@click.option("--kind", type=click.Choice(["dyno", "build"]), help="Only this sheet; both unless given.")
@click.option(
    "--out", type=click.Path(file_okay=False, path_type=Path), default=Path("."), metavar="DIR",
    help="Folder for the PDF; the current folder unless given.",
)  # fmt: skip
@common.archive_option
def command(slug: str, kind: str | None, out: Path, archive: Path) -> None:
    """Make the dyno sheet and the build sheet of a build.

    They show what the public page shows, nothing private. A build in progress has sheets too.
    """
    from builder.publish.sheets.write import write_sheets

    with common.plain_errors():
        report = write_sheets(archive, slug, kind, out)
    common.print_report(report)
