"""`millbook preview`."""

from __future__ import annotations

from pathlib import Path

import click

from builder.commands import common


@click.command("preview")
@click.option("--port", type=click.IntRange(0, 65535), default=8000, show_default=True, help="Port on this machine.")
@common.archive_option
def command(port: int, archive: Path) -> None:
    """Serve a private preview on this machine.

    It is rebuilt when a record or template changes. Unfinished builds are shown too, each with what is missing
    before it may be delivered. The public site in site/ is left alone.
    """
    from builder.commands.preview_server import preview

    with common.plain_errors():
        preview(archive, port=port, echo=common.echo)
