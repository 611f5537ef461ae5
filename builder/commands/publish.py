"""`millbook publish`."""

from __future__ import annotations

from pathlib import Path

import click

from builder.commands import common


@click.command("publish")
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="Folder for the site; site/ in the archive unless given.",
)
@click.option("--all", "everything", is_flag=True, help="Publish unfinished builds too.")
@click.option("--full", is_flag=True, help="Rebuild everything.")
@click.option("--allow-removals", is_flag=True, help="Publish even if most builds, or all, are gone.")
@common.archive_option
def command(out: Path | None, everything: bool, full: bool, allow_removals: bool, archive: Path) -> None:
    """Make the site from every finished build.

    The existing site is replaced only when the new one is complete. Exit status 1 if an error kept a
    build off it, 2 if something would be lost and nothing was changed.
    """
    from builder.commands.progress import progress_bar
    from builder.publish.edition import Edition
    from builder.publish.pipeline import publish

    edition = Edition.PUBLIC_ALL if everything else Edition.PUBLIC
    with common.plain_errors(), progress_bar() as progress:
        report = publish(
            archive,
            out or archive / "site",
            edition=edition,
            full=full,
            allow_removals=allow_removals,
            progress=progress,
        )
    common.print_report(report)
