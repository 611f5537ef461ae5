"""`millbook plan`."""

from __future__ import annotations

import shutil
from pathlib import Path

import click

from builder.commands import common


@click.command("plan")
@click.argument("slug", type=common.slug)
@click.option("--set", "changes", multiple=True, metavar="FIELD=VALUE", help="Another value of a field; repeatable.")
@click.option("--for", "target", metavar="FIGURE=VALUE", help="What would have to change for a figure to come to this.")
@click.option(
    "--at",
    "meeting",
    type=click.Choice(["mean", "lowest", "highest", "each"]),
    default="mean",
    show_default=True,
    help="Which cylinder has to meet --for, where each has its own value.",
)
@click.option("--all", "show_all", is_flag=True, help="Every figure and every line, not only the main ones.")
@common.json_option
@common.archive_option
def command(
    slug: str, changes: tuple[str, ...], target: str | None, meeting: str, show_all: bool, as_json: bool, archive: Path
) -> None:
    """Plan an engine: what a change does, what a wish takes.

    Without options: the goals, what is known and what is not. Nothing is written. Fields are named as in the
    record, or by the end of their path:

    \b
      millbook plan SLUG --set rockers.ratio=1.7 --set gasket.thickness="0.030 in"
      millbook plan SLUG --for compression_ratio=9.6
    """
    from builder.publish.plan_report import PlanQuestion, plan_report

    question = PlanQuestion(changes=changes, target=target, meeting=meeting, show_all=show_all)  # type: ignore[arg-type]
    width = min(max(shutil.get_terminal_size((80, 24)).columns, 60), 120)
    with common.plain_errors():
        report = plan_report(archive, slug, question, width, as_json=as_json)
    common.print_report(report)
