"""`millbook worksheet`."""

from __future__ import annotations

from pathlib import Path

import click

from builder.commands import common


@click.command("worksheet")
@click.argument("slug", type=common.slug)
@click.option(
    "--section", "sections", multiple=True, metavar="NAME",
    help="Only this section, such as bores or springs; may be given several times.",
)  # fmt: skip
@click.option(
    "--out", type=click.Path(file_okay=False, path_type=Path), default=Path("."), metavar="DIR",
    help="Folder for the PDF; the current folder unless given.",
)  # fmt: skip
@common.archive_option
def command(slug: str, sections: tuple[str, ...], out: Path, archive: Path) -> None:
    """Make the bench sheet of a build, to fill in by hand.

    It has a box for every reading, in the order of the work, with as many boxes as this engine has positions,
    the allowed range and the instrument. What the record has already is printed in. It is for the shop: private
    fields are not removed.
    """
    from builder.publish.sheets.worksheet_sections import SECTIONS
    from builder.publish.sheets.write_worksheet import write_worksheet
    from builder.record.problem import did_you_mean

    names = tuple(section.slug for section in SECTIONS)
    for name in sections:
        if name not in names:
            hint = did_you_mean(name, names, f"sections are {', '.join(names)}")
            raise click.BadParameter(f"there is no section {name!r}: {hint}", param_hint="'--section'")
    with common.plain_errors():
        report = write_worksheet(archive, slug, sections, out)
    common.print_report(report)
