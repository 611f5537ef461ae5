"""`millbook check`."""

from __future__ import annotations

from pathlib import Path

import click

from builder.commands import common


@click.command("check")
@click.argument("slugs", nargs=-1, type=common.slug, metavar="[SLUG ...]")
@click.option("--delivery", is_flag=True, help="Also list what is missing for delivery.")
@common.archive_option
def command(slugs: tuple[str, ...], delivery: bool, archive: Path) -> None:
    """Check records for errors, each with its file and line.

    Without a SLUG, every build. Exit status 1 if there is an error, or with --delivery something missing.
    """
    from builder.publish.record_check import check_records

    with common.plain_errors():
        report = check_records(archive, slugs, delivery=delivery)
    common.print_report(report)
