"""Publishing the archive: from build folders to a site that stands.

`publish` is the whole of it, steps in the order in which data flows: find what changed; read, compute and draw
those builds; relate the builds to each other; write pages; build the site; put it in place.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from builder.publish.deploy.atomic_swap import (
    activate,
    exclusive_output,
    keep_staging,
    lock,
    staging_dir,
    write_marker,
)
from builder.publish.deploy.site_mirror import sync_mirror, update_mirror
from builder.publish.incremental.change_detection import (
    ChangeSet,
    Workspace,
    detect_changes,
    is_intact,
    snapshot_of,
)
from builder.publish.incremental.output_dir import remove_files
from builder.publish.incremental.state import (
    BuildState,
    Manifest,
    changed_paths,
    digest_bytes,
    digest_of,
    load_state,
    rescan,
    scan,
)
from builder.publish.pages import templating
from builder.publish.report import Progress, Report
from builder.publish.rings import seldom_looked_for
from builder.publish.workers import WorkerPool
from builder.record.problem import Problem, errors_in

if TYPE_CHECKING:
    from builder.archive.summary import Summary
    from builder.publish.pages.build.similar_builds import SimilarBuilds
    from builder.publish.pages.build.worker import BuildOutput, PreviousOutput
    from builder.publish.site.mkdocs_site import PageBatch, SiteConfig
    from builder.record.models.shop import Shop

SIMILAR_BUILDS_SLOT = "<!-- millbook: relatives -->"
"""Stands in a build's page where its relatives go: they depend on every other build, the page does not."""

_MAX_PAGES_PER_BATCH = 60
"""Most pages that MkDocs gets at once: it holds them all in memory."""
_FEW_DRAWINGS, _FEW_PAGES = 30, 30
"""So few single drawings, or pages, are sooner done here than other processes started."""
_PARALLEL_SCAN_FROM = 300
"""With more builds than that, looking at what was kept is worth another process."""
_MAKING, _RELATING, _BUILDING = "reading, computing, drawing", "drawing relatives together", "building the site"


@dataclass
class RebuildResult:
    """What came of the builds that were made again, and which no longer belong on the site."""

    withdrawn: list[str] = field(default_factory=list)
    summaries: dict[str, Summary] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    @property
    def any(self) -> bool:
        """Whether the archive is not what it was."""
        return bool(self.summaries or self.withdrawn)


def publish(
    archive: Path,
    out: Path,
    *,
    everything: bool = False,
    full: bool = False,
    for_shop: bool = False,
    progress: Progress | None = None,
) -> Report:
    """Publish every finished build of the archive as a site in `out`.

    `everything` publishes unfinished builds too; `full` makes everything anew; `for_shop` adds what only the
    shop should see (what is missing before delivery), and works apart from the public site. The site that stands is
    replaced only when the new one is complete. Raises PublishProblem, in plain words, when it cannot be.
    """
    started = time.perf_counter()
    with WorkerPool() as hands:
        place = Workspace(archive, everything, for_shop, progress or (lambda what, done, of: None), hands)
        with _exclusive(place, out) as site:
            ledger = BuildState() if full else load_state(place.at("ledger.json"))
            remade = RebuildResult()
            warnings: list[str] = []
            many = len(ledger.builds) > _PARALLEL_SCAN_FROM
            with hands.meanwhile(snapshot_of(place, ledger).harmed, worth=many) as harmed:
                found = detect_changes(place, ledger)
                if found.any or not is_intact(site, ledger.site) or harmed():
                    remade, warnings = _rebuild_site(place, ledger, found, harmed, site)
                elif ledger.shop_faults:
                    remade = _build_stale(place, ledger, found)  # which tells them again
            if ledger.learnt:
                ledger.save(place.at("ledger.json"))
    return _report(out, ledger, remade, warnings, time.perf_counter() - started)


def _rebuild_site(
    place: Workspace, ledger: BuildState, found: ChangeSet, harmed: Callable[[], frozenset[str]], site: Path
) -> tuple[RebuildResult, list[str]]:
    """Make again what changed, and put the new site in place; returns what was made, and MkDocs' warnings."""
    known = ledger.site if found.same else Manifest()
    warnings: list[str] = []
    with (
        staging_dir(site) as fresh,
        place.hands.meanwhile(partial(_prefetch, place.archive, site, fresh, known), worth=found.same) as ahead,
        seldom_looked_for() if found.same else contextlib.nullcontext(),
    ):
        import builder.publish.pages.build.worker  # noqa: F401 - which takes as long as the other process looks for harm

        if ledger.whole:
            found = replace(found, harmed=harmed())
        remade = _build_stale(place, ledger, found)
        ledger.learnt = True
        spare = True
        if remade.any or found.harmed or not ahead().standing:
            shelf = _load_summaries(place, ledger, remade)
            pages = _write_pages(place, ledger, shelf, found)
            standing = ahead().standing
            if standing and not changed_paths(pages, ledger.pages):
                _commit_state(place, ledger, shelf, pages, found.whole)
            else:
                laid, warnings = _build_site(place, ledger, site if standing else None, fresh, pages)
                write_marker(fresh)
                ledger.site = rescan(fresh, known, laid) if standing else scan(fresh, Manifest())
                _commit_state(place, ledger, shelf, pages, found.whole)
                activate(fresh, site)
                spare = standing and update_mirror(site, fresh, laid)
        if spare and ahead().shared:
            keep_staging(fresh, site)
    return remade, warnings


@dataclass(frozen=True)
class PrefetchResult:
    """What was found and done for the site before anything was made."""

    standing: bool
    """Whether a site stands as it was left; it was brought over then."""
    shared: bool
    """Whether the new folder shares its files with that site, and can be its spare."""


def _prefetch(archive: Path, site: Path, fresh: Path, known: Manifest) -> PrefetchResult:
    """What can be done for the site before anything is made: bring over one that stands, and load MkDocs, and what
    overviews are drawn with.
    """
    standing = is_intact(site, known)
    shared = sync_mirror(site, fresh, known if standing else Manifest())
    if standing:
        from builder.draw import svg_canvas  # noqa: F401
        from builder.publish.pages.archive import overview  # noqa: F401
        from builder.publish.site.mkdocs_site import preload

        preload(archive)
    return PrefetchResult(standing, shared)


@contextlib.contextmanager
def _exclusive(place: Workspace, out: Path) -> Iterator[Path]:
    """Hold the place of the site, and the generator's own folder, which two sites of one archive share."""

    def say(what: str) -> None:
        place.tell(what, 0, 0)

    with exclusive_output(out, archive=place.archive, say=say) as site, lock(place.at("lock"), say=say):
        for left in place.at("lock").parent.glob("*.part"):  # by a publish that was killed
            left.unlink(missing_ok=True)
        yield site


def _report(out: Path, ledger: BuildState, remade: RebuildResult, warnings: Sequence[str], seconds: float) -> Report:
    standing = [faults for slug, faults in ledger.faults.items() if slug not in remade.summaries]
    return Report(
        out,
        tuple(sorted(ledger.builds)),
        tuple((slug, why) for slug, (_, why) in sorted(ledger.left_out.items())),
        tuple(remade.problems),
        tuple(warnings),
        seconds,
        len(remade.summaries),
        (sum(errors for errors, _ in standing), sum(warned for _, warned in standing)),
    )


# ------------------------------------------------------------------------------------ builds, made


def _build_stale(place: Workspace, ledger: BuildState, found: ChangeSet) -> RebuildResult:
    """Make the stale builds again, and forget those whose folder is gone."""
    remade = RebuildResult([slug for slug in found.gone if slug in ledger.builds])
    for slug in found.gone:
        ledger.forget(slug)
    from builder.publish.pages.build.worker import BuildTask, build_safely

    shop, problems = place.shop
    remade.problems += problems
    ledger.shop_faults = len(problems)
    work = partial(
        build_safely,
        archive=place.archive,
        shop=shop,
        templates_key=found.whole,
        everything=place.everything,
        for_shop=place.for_shop,
    )
    tasks = [BuildTask(folder, _previous_output(place, ledger, found, folder.name)) for folder in found.stale]
    for made in place.hands.each(work, tasks, after=lambda done: place.tell(_MAKING, done, len(tasks))):
        remade.problems += made.problems
        stood = made.slug in ledger.builds
        errors = len(errors_in(made.problems))
        if errors and place.for_shop and stood and made.summary is None:
            # Somebody is at work on this record: its last good page stays up until it can be read again.
            ledger.left_out[made.slug] = ("", f"{made.why_not}; its last good page stands")
            continue
        ledger.forget(made.slug)
        if made.summary is not None:
            remade.summaries[made.slug] = made.summary
            ledger.builds[made.slug] = found.keys[made.slug]
            ledger.photos[made.slug] = made.photos
            if made.problems:
                ledger.faults[made.slug] = (errors, len(made.problems) - errors)
            _store_output(place, made)
        else:
            # A build with errors is looked at each time, so that its errors are told each time.
            ledger.left_out[made.slug] = ("" if errors else found.keys[made.slug], made.why_not or "")
            remade.withdrawn += [made.slug] * stood
    return remade


def _previous_output(place: Workspace, ledger: BuildState, found: ChangeSet, slug: str) -> PreviousOutput | None:
    """What stands of a build, where it was published and may be believed."""
    from builder.publish.pages.build.worker import PreviousOutput

    if not found.believed or slug not in ledger.builds:
        return None
    return PreviousOutput(place.pages.folder / "builds" / slug, ledger.photos.get(slug, {}))


def _store_output(place: Workspace, made: BuildOutput) -> None:
    """Lay down what was made of a build: its page as far as it stands, and everything beside it."""
    place.pages.lay_below(f"builds/{made.slug}", made.files, spare=("index.md", "relatives.svg"))
    place.bodies.lay(f"{made.slug}.md", made.page.encode())


@dataclass(frozen=True)
class SummaryIndex:
    """Every published build in its short form."""

    builds: Sequence[Summary]
    lines: Mapping[str, bytes]
    """By slug: the build's line of the index, which is all that is known of it here."""


def _load_summaries(place: Workspace, ledger: BuildState, remade: RebuildResult) -> SummaryIndex:
    """The short form of every published build, made now or kept."""
    from builder.archive.index import dump_index, parse_lines

    index = place.at("index.json")
    known = parse_lines(index.read_bytes() if index.is_file() else b"")
    # What is made now goes through the index's own form, so that it is just what it will be when it was kept.
    known |= parse_lines(dump_index(remade.summaries.values()))
    found = [known[slug] for slug in sorted(ledger.builds)]
    return SummaryIndex([summary for summary, _ in found], {summary.slug: line for summary, line in found})


# ------------------------------------------------------------------------------------------- pages


def _write_pages(place: Workspace, ledger: BuildState, shelf: SummaryIndex, found: ChangeSet) -> Manifest:
    """Write every page of the archive that is not as it should be; returns every file of the pages folder.

    The pages that no build has a part in are written only if they may not be what they were.
    """
    from builder.publish.pages.archive.overview import draw_overviews, overviews_of
    from builder.publish.pages.archive.pages import archive_pages, display_units, fixed_pages
    from builder.publish.pages.build.similar_builds import stale_similar
    from builder.publish.pages.build.worker import template_env

    shop, _ = place.shop
    place.tell("relating builds", 0, 1)
    pages = place.pages
    ledger.bodies = place.bodies.looked_at(ledger.bodies, believed=found.believed)
    place.bodies.drop([name for name in ledger.bodies if name.removesuffix(".md") not in ledger.builds])
    ledger.bodies = place.bodies.looked_at(ledger.bodies, believed=True)
    bodies = ledger.bodies.files("")
    said = {slug: digest_of(line, bodies[f"{slug}.md"]) for slug, line in shelf.lines.items()}
    stood = pages.folder / "overview.md" if found.believed else None
    draw = partial(draw_overviews, overviews_of(shelf.builds, display_units(shop)), stood)
    many = found.same and len(shelf.builds) > _PARALLEL_SCAN_FROM
    with place.hands.meanwhile(draw, worth=many) as overviews, templating.translate_template_errors():
        related = stale_similar(shelf.builds, said, ledger.blocks, shop=shop, whole=found.whole)
        files = archive_pages(shelf.builds, shop, template_env(place.archive, found.whole), overviews)
        if not found.believed or not ledger.fixed:
            fixed = fixed_pages(shop, template_env(place.archive, found.whole)) | templating.assets(place.archive)
            ledger.fixed = sorted(fixed)
            files |= fixed
    for name, content in files.items():
        pages.lay(name, content)
    _write_relatives(place, ledger, related, shop, found)
    tree = pages.looked_at(ledger.pages, believed=found.believed)
    ours = {*files, *ledger.fixed}
    pages.drop([name for name in tree if name not in ours and not _of_build(name, ledger)])
    return pages.looked_at(tree, believed=True)


def _of_build(page: str, ledger: BuildState) -> bool:
    parts = page.split("/")
    return parts[0] == "builds" and len(parts) > 2 and parts[1] in ledger.builds


def _write_relatives(
    place: Workspace, ledger: BuildState, related: Sequence[SimilarBuilds], shop: Shop, found: ChangeSet
) -> None:
    """Complete the pages of builds with their relatives, where they or the page are not what they were."""
    from builder.publish.pages.build.similar_builds import render_similar

    stood = place.pages.folder / "builds" if found.believed else None
    work = partial(render_similar, shop=shop, archive=place.archive, templates_key=found.whole, stood=stood)
    blocks = place.hands.each(
        work, related, few=_FEW_DRAWINGS, after=lambda done: place.tell(_RELATING, done, len(related))
    )
    for of, (text, drawing) in zip(related, blocks, strict=True):
        ledger.blocks[of.summary.slug] = of.key
        below = f"builds/{of.summary.slug}"
        body = (place.bodies.folder / f"{of.summary.slug}.md").read_bytes()
        place.pages.lay(f"{below}/index.md", body.replace(SIMILAR_BUILDS_SLOT.encode(), text.encode()))
        if drawing is None:
            place.pages.drop([f"{below}/relatives.svg"])
        else:
            place.pages.lay(f"{below}/relatives.svg", drawing)


# -------------------------------------------------------------------------------------------- site


def _build_site(
    place: Workspace, ledger: BuildState, standing: Path | None, fresh: Path, pages: Manifest
) -> tuple[set[str], list[str]]:
    """Build the site in `fresh`: where one stands as it was left, only what changed, beside the rest of that one.

    Returns the files that were laid or removed, and what MkDocs warned of.
    """
    from builder.publish.site.mkdocs_site import build_pages, copy_assets, finalize
    from builder.publish.site.search_index import without_pages

    look = _site_config(place)
    changed = sorted(changed_paths(pages, ledger.pages) if standing else pages)
    changed_pages = [name for name in changed if name.endswith(".md") and name in pages]
    place.tell(_BUILDING, 0, len(changed_pages))
    index = None
    laid = {f"{name[:-3]}.html" if name.endswith(".md") else name for name in changed}
    if standing:
        remove_files(fresh, laid)
        index = without_pages(standing, laid)
    batches = _batches(changed_pages, shell=not standing, hands=place.hands)
    others = [name for name in pages if name.endswith(".md")]
    work = partial(build_pages, pages=place.at("pages"), out=fresh, look=look, others=others)
    built = []
    if len(batches) == 1:
        built = [place.hands.apart(partial(work, batches[0]))]  # there, MkDocs is loaded already
    for each in place.hands.each(work, batches) if len(batches) > 1 else ():
        built.append(each)
        place.tell(_BUILDING, sum(len(batch.names) for batch in batches[: len(built)]), len(changed_pages))
    copy_assets([name for name in changed if not name.endswith(".md") and name in pages], place.at("pages"), fresh)
    laid.update(*(each.names for each in built), finalize(fresh, look, index, built, others))
    return laid, [warning for each in built for warning in each.warnings]


def _batches(names: Sequence[str], *, shell: bool, hands: WorkerPool) -> list[PageBatch]:
    """The pages in parts, enough of them that all hands have some; what belongs to no page goes with the first."""
    from builder.publish.site.mkdocs_site import PageBatch

    size = max(_FEW_PAGES, min(_MAX_PAGES_PER_BATCH, -(-len(names) // hands.count)))
    parts = [tuple(names[start : start + size]) for start in range(0, len(names), size)]
    if shell:
        parts = parts or [()]
    return [PageBatch(part, shell and not number) for number, part in enumerate(parts)]


def _site_config(place: Workspace) -> SiteConfig:
    from builder.publish.pages.archive.pages import NAV
    from builder.publish.site.mkdocs_site import SiteConfig

    shop, _ = place.shop
    return SiteConfig(place.archive, shop.name, shop.site_address, shop.tagline, NAV)


def _commit_state(place: Workspace, ledger: BuildState, shelf: SummaryIndex, pages: Manifest, whole: str) -> None:
    """Write down what was made, last before the new site takes its place.

    A publish that does not come so far is not believed; one that is killed just after finds another site than it
    should, and builds it anew.
    """
    from builder.archive.index import join_lines, write_index
    from builder.archive.summary import newest_first

    index = join_lines(shelf.lines[summary.slug] for summary in newest_first(shelf.builds))
    write_index(place.at("index.json"), index)
    ledger.index = digest_bytes(index)
    ledger.pages, ledger.whole = pages, whole
    ledger.save(place.at("ledger.json"))
    ledger.learnt = False
