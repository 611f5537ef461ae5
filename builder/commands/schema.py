"""`millbook schema`."""

from __future__ import annotations

from pathlib import Path

import click

from builder.commands import common


@click.command("schema")
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path), metavar="DIR")
def command(folder: Path) -> None:
    """Write the JSON Schemas that let an editor complete and check the YAML while you type."""
    from builder.record.schema import write_schemas

    paths, problems = write_schemas(folder)
    common.print_result(problems, paths, ok=not problems)
