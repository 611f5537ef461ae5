"""`millbook new`."""

from __future__ import annotations

from pathlib import Path

import click

from builder.commands import common


@click.command("new")
@click.argument("slug", type=common.slug)
@click.option("--title", help="What the engine is called; from SLUG unless given.")
@click.option("--cylinders", type=int, default=4, show_default=True, help="How many it has: as many readings in lists.")
@click.option("--two-stroke", is_flag=True, help="An engine timed by its ports: ports.yaml in place of cam.yaml.")
@common.archive_option
def command(slug: str, title: str | None, cylinders: int, two_stroke: bool, archive: Path) -> None:
    """Start a build: a folder of YAML files with comments.

    SLUG becomes the folder's name and the page's address: small letters, digits and hyphens.
    """
    from builder.record.scaffold import write_scaffold

    paths, problems = write_scaffold(archive, slug, title=title, cylinders=cylinders, two_stroke=two_stroke)
    hint = [] if problems else [f"Fill in build.yaml first, then run: millbook check {slug}"]
    common.print_result(problems, [*paths, *hint], ok=not problems)
