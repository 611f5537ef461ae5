"""`millbook due`."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from builder.commands import common


@click.command("due")
@click.option(
    "--date",
    "day",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="DAY",
    help="The day to look from, as year-month-day; today unless given.",
)
@common.json_option
@common.archive_option
def command(day: datetime | None, as_json: bool, archive: Path) -> None:
    """Show which services are due, and when warranties end.

    Services come from the schedule in delivery.yaml (or in shop.yaml), what was done from service.yaml.
    """
    from builder.archive.due_report import due_report

    with common.plain_errors():
        report = due_report(archive, (day or datetime.now()).date(), as_json=as_json)
    common.print_report(report)
