"""`millbook figures`."""

from __future__ import annotations

from pathlib import Path

import click

from builder.commands import common


@click.command("figures")
@click.argument("slug", type=common.slug)
@common.json_option
@common.archive_option
def command(slug: str, as_json: bool, archive: Path) -> None:
    """Calculate the figures of one build, with the working."""
    from builder.publish.record_check import figures_report

    with common.plain_errors():
        report = figures_report(archive, slug, as_json=as_json)
    common.print_report(report)
