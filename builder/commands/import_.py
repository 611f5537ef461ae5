"""`millbook import`."""

from __future__ import annotations

from pathlib import Path

import click

from builder.commands import common


@click.command("import")
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE.csv|FILE.xlsx")
@click.option("--map", "map_path", type=click.Path(path_type=Path), metavar="MAP.yaml", help="Which column goes where.")
@click.option("--dry-run", is_flag=True, help="Show what would be imported, and write nothing.")
@common.archive_option
def command(file: Path, map_path: Path | None, dry_run: bool, archive: Path) -> None:
    """Import past builds from a spreadsheet.

    Without --map, proposes a map, shows it, and writes it out for you to check. Nothing that exists is ever
    overwritten; a second run with the same file changes nothing.
    """
    from builder.record.spreadsheet.import_plan import plan_import, propose_map
    from builder.record.spreadsheet.importer import carry_out

    with common.plain_errors():
        if map_path is None:
            report = propose_map(archive, file, dry_run=dry_run)
            common.print_report(report)
        plan, problems = plan_import(archive, file, map_path)
        if plan is None:
            common.print_result(problems, (), ok=False)
        for line in plan.lines:
            common.echo(line)
        report = carry_out(plan, dry_run=dry_run)
    common.print_report(report)
