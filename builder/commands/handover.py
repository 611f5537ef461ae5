"""`millbook handover`."""

from __future__ import annotations

from pathlib import Path

import click

from builder.commands import common


@click.command("handover")
@click.argument("slugs", nargs=-1, type=common.slug, metavar="[SLUG ...]")
@click.option("--all", "everything", is_flag=True, help="Every finished build.")
@click.option("--draft", is_flag=True, help="Make it even if something is missing; every page is marked DRAFT.")
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), metavar="DIR", help="handover/ unless given.")
@click.option("--verify", "pack", type=click.Path(path_type=Path), metavar="DIR|ZIP", help="Verify a pack.")
@click.option(
    "--previous",
    type=click.Path(path_type=Path),
    metavar="DIR|ZIP",
    help="The former issue, if it is not in the folder of the packs.",
)
@click.option("--json", "as_json", is_flag=True, help="The result as JSON.")
@common.archive_option
def command(
    slugs: tuple[str, ...],
    everything: bool,
    draft: bool,
    out: Path | None,
    pack: Path | None,
    previous: Path | None,
    as_json: bool,
    archive: Path,
) -> None:
    """Make the delivery pack of an engine.

    It has a binder, one-page sheets, an offline record, data, engine tag and checksums. Refuses while `millbook
    check --delivery` has something missing. Packs hold what is the customer's own; they are never written into
    the public site. Each pack has an issue number and a date; made again after a change of the record, it is
    the next issue, which lists what changed.
    """
    from builder.handover.packs import handover, verify_pack

    with common.plain_errors():
        if pack:
            report = verify_pack(pack, as_json=as_json)
        else:
            report = handover(
                archive, slugs, everything=everything, draft=draft, out=out, previous=previous, as_json=as_json
            )
    common.print_report(report)
