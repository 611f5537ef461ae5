"""The command `millbook`: parse, call one function, print."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterable
from pathlib import Path, PurePath
from typing import Any

import click

from builder import __version__
from builder.publish.rings import not_looked_for_at_the_end

_HELP = {"help_option_names": ["-h", "--help"], "max_content_width": 100}
archive_option = click.option(
    "--archive",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("."),
    metavar="DIR",
    help="Folder that holds builds/; the current folder unless given.",
)


def _slug(text: str) -> str:
    """The name of a build, which may also be written as its folder's path, the way a shell completes it.

    What has an ending is a file, and no build.
    """
    path = PurePath(text)
    return path.name if not path.suffix and (path.parent.name == "builds" or len(path.parts) == 1) else text


@click.group(context_settings=_HELP)
@click.version_option(__version__, prog_name="millbook")
def main() -> None:
    """Turn a shop's build records into a browsable archive.

    Every engine is a folder of YAML files and dyno logs below builds/. Start one with `millbook new`, fill
    it in, look it over with `millbook check`, and make the site with `millbook publish`.
    """
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
        # Our arrays are small: threads for linear algebra cost more to start than they save.
        os.environ.setdefault(name, "1")
    not_looked_for_at_the_end()


@main.command()
@click.argument("slug", type=_slug)
@archive_option
def new(slug: str, archive: Path) -> None:
    """Start a build: a folder of commented YAML files to fill in.

    SLUG becomes the folder's name and the page's address: small letters, digits and hyphens.
    """
    from builder.record.scaffold import write_scaffold

    written, problems = write_scaffold(archive, slug)
    _print_problems(problems)
    for path in written:
        click.echo(path)
    if problems:
        sys.exit(1)
    click.echo(f"Fill in build.yaml first, then look it over with: millbook check {slug}")


@main.command()
@click.argument("slugs", nargs=-1, type=_slug, metavar="[SLUG ...]")
@click.option("--delivery", is_flag=True, help="Also say what is missing before the engine can be handed over.")
@archive_option
def check(slugs: tuple[str, ...], delivery: bool, archive: Path) -> None:
    """Look records over: every problem with its file and line.

    Without a SLUG, every build. Exit status 1 if there is an error, or with --delivery something missing.
    """
    from builder.commands.check import check as look_over

    result = look_over(archive, slugs, delivery=delivery)
    _print_problems(result.problems)
    for line in result.lines:
        click.echo(line)
    sys.exit(0 if result.ok else 1)


@main.command()
@click.argument("slug", type=_slug)
@click.option("--json", "as_json", is_flag=True, help="As JSON, values in SI units.")
@archive_option
def figures(slug: str, as_json: bool, archive: Path) -> None:
    """Compute the figures of one build and show their working."""
    from builder.figures.export import figures_as_json, figures_as_lines, figures_of

    found, problems = figures_of(archive, slug)
    _print_problems(problems)
    if found is None:
        sys.exit(1)
    if as_json:
        click.echo(json.dumps(figures_as_json(slug, found), indent=2, ensure_ascii=False))
    else:
        for line in figures_as_lines(found):
            click.echo(line)
    sys.exit(1 if any(problem.severity == "error" for problem in problems) else 0)


@main.command()
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="Folder for the site; site/ in the archive unless given.",
)
@click.option("--all", "everything", is_flag=True, help="Publish unfinished builds too.")
@click.option("--full", is_flag=True, help="Make everything anew, whatever changed.")
@archive_option
def publish(out: Path | None, everything: bool, full: bool, archive: Path) -> None:
    """Make the site: every finished build, its figures and drawings, the lists and the finder.

    The site that stands is replaced only when the new one is complete. Exit status 1 if an error kept a
    build off it.
    """
    from builder.commands.progress import shown_progress
    from builder.publish.edition import Edition
    from builder.publish.pipeline import publish as make_site

    with _plainly(), shown_progress() as progress:
        edition = Edition.PUBLIC_ALL if everything else Edition.PUBLIC
        report = make_site(archive, out or archive / "site", edition=edition, full=full, progress=progress)
    _print_problems(report.problems)
    for line in report.lines:
        click.echo(line)
    sys.exit(0 if report.ok else 1)


@main.command()
@click.option("--port", type=click.IntRange(0, 65535), default=8000, show_default=True, help="Port on this machine.")
@archive_option
def preview(port: int, archive: Path) -> None:
    """Serve the archive on this machine, for the shop's eyes, and renew it whenever a record or template changes.

    Unfinished builds are shown too, each with what is missing before it may be delivered. The public site in
    site/ is left alone.
    """
    from builder.commands.preview import preview as serve
    from builder.publish.deploy.atomic_swap import SHOP_SITE
    from builder.publish.edition import Edition
    from builder.publish.pipeline import publish as make_site

    out = archive / SHOP_SITE

    def republish() -> Iterable[str]:
        report = make_site(archive, out, edition=Edition.SHOP)
        return [*map(str, report.problems), *report.lines]

    with _plainly():
        serve(archive, out, republish, port=port, echo=click.echo)


@main.command()
@click.argument("words", nargs=-1, metavar="[WORD ...]")
@click.option("--where", "-w", multiple=True, metavar="FIELD=VALUE", help="A range or a choice; may be given often.")
@archive_option
def find(words: tuple[str, ...], where: tuple[str, ...], archive: Path) -> None:
    """Find past builds by ranges, choices and words.

    \b
    millbook find harbour --where displacement=1500..1800 --where fuel=petrol
    millbook find --where "peak_power=300 hp.." --where compression_ratio=10..11
    """
    from builder.commands.query import find_builds, open_index, table

    with _plainly():
        asked = open_index(archive)
        for line in table(asked, find_builds(asked, where, " ".join(words))):
            click.echo(line)


@main.command()
@click.argument("target", type=_slug, metavar="SLUG|PLAN.yaml")
@click.option("--count", default=8, show_default=True, type=click.IntRange(1, 1000), help="How many builds to show.")
@click.option("--json", "as_json", is_flag=True, help="As JSON, values in SI units.")
@archive_option
def similar(target: str, count: int, as_json: bool, archive: Path) -> None:
    """Show the builds most like one of the archive, or like a plan.

    A plan is a YAML file with any of the finder's fields, such as displacement: 350 cu in.
    """
    from builder.commands.query import open_index, similar_json, similar_lines, similar_to

    with _plainly():
        asked = open_index(archive)
        found = similar_to(asked, target, count)
        lines = [similar_json(found, asked.system)] if as_json else similar_lines(found, asked.system)
        for line in lines:
            click.echo(line)


@main.command()
@click.argument("slugs", nargs=-1, type=_slug, required=True, metavar="SLUG SLUG ...")
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), metavar="DIR", help="compare/ unless given.")
@archive_option
def compare(slugs: tuple[str, ...], out: Path | None, archive: Path) -> None:
    """Write a page that lays builds side by side: curves over each other, and only what differs."""
    from builder.commands.query import open_index, write_comparison

    with _plainly():
        click.echo(write_comparison(open_index(archive), slugs, out or archive / "compare"))


@main.command()
@click.argument("slugs", nargs=-1, type=_slug, metavar="[SLUG ...]")
@click.option("--all", "everything", is_flag=True, help="Every finished build.")
@click.option("--draft", is_flag=True, help="Make it although something is missing; every page says DRAFT.")
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), metavar="DIR", help="handover/ unless given.")
@click.option("--verify", "check", type=click.Path(path_type=Path), metavar="DIR|ZIP", help="Is this pack still whole?")
@archive_option
def handover(
    slugs: tuple[str, ...], everything: bool, draft: bool, out: Path | None, check: Path | None, archive: Path
) -> None:
    """Make the delivery pack: the customer's binder, the offline record, the data, a tag and a seal.

    Refuses while `millbook check --delivery` has something missing. Packs hold what is the customer's own; they
    are never written into the public site.
    """
    from builder.handover.packs import handover as hand_over

    with _plainly():
        outcome = hand_over(archive, slugs, everything=everything, draft=draft, out=out, check=check)
    _print_problems(outcome.problems)
    for line in outcome.lines:
        click.echo(line)
    sys.exit(0 if outcome.good else 1)


@main.command()
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path), metavar="DIR")
def schema(folder: Path) -> None:
    """Write the JSON Schemas that let an editor complete and check the YAML while you type."""
    from builder.record.schema import write_schemas

    written, problems = write_schemas(folder)
    _print_problems(problems)
    for path in written:
        click.echo(path)
    sys.exit(1 if problems else 0)


class _plainly:
    """Turns a publish that could not be made into its plain message and exit status 1."""

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: Any, error: BaseException | None, trace: Any) -> None:
        from builder.publish.errors import PublishError

        if isinstance(error, PublishError):
            raise click.ClickException(str(error)) from None


def _print_problems(problems: Iterable[Any]) -> None:
    for problem in problems:
        click.echo(problem, err=True)
