"""`millbook similar`."""

from __future__ import annotations

from pathlib import Path

import click

from builder.commands import common


@click.command("similar")
@click.argument("target", type=common.slug, metavar="SLUG|PLAN.yaml")
@click.option("--count", default=8, show_default=True, type=click.IntRange(1, 1000), help="How many builds to show.")
@click.option("--shop", is_flag=True, help="Add hours and prices, for quoting; not for customers.")
@click.option("--own-engine", is_flag=True, help="Estimate from other builds of the same engine too.")
@common.json_option
@common.archive_option
def command(target: str, count: int, shop: bool, own_engine: bool, as_json: bool, archive: Path) -> None:
    """Show the closest builds to one, or to a plan.

    With what they made, and an estimate of what it might make. A plan is a YAML file with any of the finder's
    fields, such as displacement: 350 cu in. Nothing needs to be published before.
    """
    from builder.archive.similar_answer import similar_lines

    with common.plain_errors():
        lines = similar_lines(
            archive,
            target,
            count,
            as_json=as_json,
            with_costs=shop,
            with_own_engine=own_engine,
            map_records=common.on_every_core,
        )
    common.print_result([], lines, ok=True)
