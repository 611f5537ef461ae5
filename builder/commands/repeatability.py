"""`millbook repeatability`."""

from __future__ import annotations

from pathlib import Path

import click

from builder.commands import common


@click.command("repeatability")
@common.archive_option
def command(archive: Path) -> None:
    """Pool the repeat pulls of the whole archive, by dyno.

    Prints a line for shop.yaml, which says how far the torque of pulls scatters with nothing changed. With it,
    changes in a session with few repeats are judged by the shop's own scatter instead of an assumed one.
    """
    from builder.archive.repeatability import archive_repeatability

    with common.plain_errors():
        report = archive_repeatability(archive)
    common.print_result([problem for problem in report.problems if problem.severity == "error"], report.lines, ok=True)
