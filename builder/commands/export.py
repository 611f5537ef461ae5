"""`millbook export`."""

from __future__ import annotations

from pathlib import Path

import click

from builder.commands import common


@click.command("export")
@click.option(
    "--xlsx", "path", type=click.Path(path_type=Path), required=True, metavar="FILE.xlsx", help="File to write."
)
@click.option("--shop", "shop_edition", is_flag=True, help="Every build, with what is private.")
@common.archive_option
def command(path: Path, shop_edition: bool, archive: Path) -> None:
    """Write the archive as a spreadsheet, a row for each build.

    Finished builds and public fields, unless --shop is given. `millbook import` reads the file back.
    """
    from builder.archive.spreadsheet import export_xlsx

    with common.plain_errors():
        report = export_xlsx(archive, path, shop_edition=shop_edition)
    common.print_report(report)
