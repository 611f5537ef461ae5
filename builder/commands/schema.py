"""`millbook schema`."""

from __future__ import annotations

from pathlib import Path

import click

from builder.commands import common


@click.command("schema")
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path), metavar="DIR")
def command(folder: Path) -> None:
    """Write JSON Schemas, by which an editor checks the YAML."""
    from builder.record.schema import write_schemas

    paths, problems = write_schemas(folder)
    common.print_result(problems, paths, ok=not problems)
