"""`millbook find`."""

from __future__ import annotations

from pathlib import Path

import click

from builder.commands import common


@click.command("find")
@click.argument("words", nargs=-1, metavar="[WORD ...]")
@click.option("--where", "-w", multiple=True, metavar="FIELD=VALUE", help="A range or a choice; may be repeated.")
@common.archive_option
def command(words: tuple[str, ...], where: tuple[str, ...], archive: Path) -> None:
    """Find past builds by ranges, choices and words.

    Conditions on one field are alternatives; those on different fields all have to be met.

    \b
    millbook find harbour --where "displacement=1500..1800 cc" --where fuel=gasoline
    millbook find --where "peak_power=300 hp.." --where compression_ratio=10..11
    millbook find --where "displacement=350 cu in" --where "displacement=400 cu in"
    """
    from builder.archive.query import find_lines

    with common.plain_errors():
        lines = find_lines(archive, where, " ".join(words), common.on_every_core)
    common.print_result([], lines, ok=True)
