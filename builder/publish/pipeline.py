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

from builder.publish.deploy.atomic_swap import activate, exclusive_output, keep_staging, staging_dir, write_marker
from builder.publish.deploy.lock import lock
from builder.publish.deploy.site_mirror import sync_mirror, update_mirror
from builder.publish.edition import Edition
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
from builder.publish.workers import WorkerPool
from builder.record.problem import Problem, errors_in

if TYPE_CHECKING:
    from builder.archive.summary import Summary
    from builder.draw.chart_cache import ChartCache
    from builder.publish.pages.build.similar_builds import SimilarBuilds
    from builder.publish.pages.build.worker import BuildOutput, PreviousOutput
    from builder.publish.site.mkdocs_site import PageBatch, SiteConfig
    from builder.record.models.shop import Shop

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

    removed: list[str] = field(default_factory=list)
    summaries: dict[str, Summary] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    @property
    def any(self) -> bool:
        """Whether the archive is not what it was."""
        return bool(self.summaries or self.removed)


def publish(
    archive: Path,
    out: Path,
    *,
    edition: Edition = Edition.PUBLIC,
    full: bool = False,
    progress: Progress | None = None,
) -> Report:
    """Publish an edition of the archive as a site in `out`; return the report.

    `full` rebuilds everything, whatever changed. The published site is replaced only when the new one is complete.
    Raises PublishError, with a message for the shop, when it cannot be.
    """
    started = time.perf_counter()
    with WorkerPool() as hands:
        place = Workspace(archive, edition, progress or (lambda what, done, of: None), hands)
        with _exclusive(place, out) as site:
            ledger = BuildState() if full else load_state(place.path("ledger.json"))
            remade = RebuildResult()
            warnings: list[str] = []
            many = len(ledger.builds) > _PARALLEL_SCAN_FROM
            harmed = hands.submit(snapshot_of(place, ledger).corrupted, inline=not many).result
            found = detect_changes(place, ledger)
            if found.has_changes or not is_intact(site, ledger.site) or harmed():
                remade, warnings = _rebuild_site(place, ledger, found, harmed, site)
            elif ledger.shop_faults:
                remade = _build_stale(place, ledger, found)  # which tells them again
            if ledger.dirty:
                ledger.save(place.path("ledger.json"))
    return _report(out, ledger, remade, warnings, time.perf_counter() - started)


def _rebuild_site(
    workspace: Workspace, ledger: BuildState, found: ChangeSet, harmed: Callable[[], frozenset[str]], site: Path
) -> tuple[RebuildResult, list[str]]:
    """Make again what changed, and put the new site in place; returns what was made, and MkDocs' warnings."""
    known = ledger.site if found.global_unchanged else Manifest()
    warnings: list[str] = []
    with staging_dir(site) as fresh, contextlib.closing(workspace.hands):
        prefetch = partial(_prefetch, workspace.archive, site, fresh, known)
        ahead = workspace.hands.submit(prefetch, inline=not found.global_unchanged).result
        import builder.publish.pages.build.worker  # noqa: F401 - which takes as long as the other process looks for harm

        if ledger.global_hash:
            found = replace(found, corrupted=harmed())
        remade = _build_stale(workspace, ledger, found)
        ledger.dirty = True
        spare = True
        if remade.any or found.corrupted or not ahead().standing:
            shelf = _load_summaries(workspace, ledger, remade)
            pages = _write_pages(workspace, ledger, shelf, found)
            standing = ahead().standing
            if standing and not changed_paths(pages, ledger.pages):
                _commit_state(workspace, ledger, shelf, pages, found.whole)
            else:
                laid, warnings = _build_site(workspace, ledger, site if standing else None, fresh, pages)
                write_marker(fresh)
                ledger.site = rescan(fresh, known, laid) if standing else scan(fresh, Manifest())
                _commit_state(workspace, ledger, shelf, pages, found.whole)
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
        from builder.draw import svg_backend  # noqa: F401
        from builder.publish.pages.archive import overview  # noqa: F401
        from builder.publish.site.mkdocs_site import preload

        preload(archive)
    return PrefetchResult(standing, shared)


@contextlib.contextmanager
def _exclusive(workspace: Workspace, out: Path) -> Iterator[Path]:
    """Hold the place of the site, and the generator's own folder, which two sites of one archive share."""

    def say(what: str) -> None:
        workspace.tell(what, 0, 0)

    with exclusive_output(out, archive=workspace.archive, notify=say) as site, lock(workspace.path("lock"), notify=say):
        for left in workspace.path("lock").parent.glob("*.part"):  # by a publish that was killed
            left.unlink(missing_ok=True)
        yield site


def _report(out: Path, ledger: BuildState, remade: RebuildResult, warnings: Sequence[str], seconds: float) -> Report:
    standing = [faults for slug, faults in ledger.problem_counts.items() if slug not in remade.summaries]
    return Report(
        out,
        tuple(sorted(ledger.builds)),
        tuple((slug, why) for slug, (_, why) in sorted(ledger.skipped.items())),
        tuple(remade.problems),
        tuple(warnings),
        seconds,
        len(remade.summaries),
        (sum(errors for errors, _ in standing), sum(warned for _, warned in standing)),
    )


# ------------------------------------------------------------------------------------ builds, made


def _build_stale(workspace: Workspace, ledger: BuildState, found: ChangeSet) -> RebuildResult:
    """Make the stale builds again, and forget those whose folder is gone."""
    remade = RebuildResult([slug for slug in found.gone if slug in ledger.builds])
    for slug in found.gone:
        ledger.discard(slug)
    from builder.publish.pages.build.worker import BuildTask, build_safely

    shop, problems = workspace.shop
    remade.problems += problems
    ledger.shop_faults = len(problems)
    work = partial(
        build_safely,
        archive=workspace.archive,
        shop=shop,
        templates_key=found.whole,
        charts=_chart_cache(workspace, found),
        edition=workspace.edition,
    )
    tasks = [BuildTask(folder, _previous_output(workspace, ledger, found, folder.name)) for folder in found.stale]
    for made in workspace.hands.map(work, tasks, after=lambda done: workspace.tell(_MAKING, done, len(tasks))):
        remade.problems += made.problems
        stood = made.slug in ledger.builds
        errors = len(errors_in(made.problems))
        if errors and workspace.edition.is_internal and stood and made.summary is None:
            # Somebody is at work on this record: its last good page stays up until it can be read again.
            ledger.skipped[made.slug] = ("", f"{made.skip_reason}; its last good page stands")
            continue
        ledger.discard(made.slug)
        if made.summary is not None:
            remade.summaries[made.slug] = made.summary
            ledger.builds[made.slug] = found.keys[made.slug]
            ledger.photos[made.slug] = made.photos
            if made.problems:
                ledger.problem_counts[made.slug] = (errors, len(made.problems) - errors)
            _store_output(workspace, made)
        else:
            # A build with errors is looked at each time, so that its errors are told each time.
            ledger.skipped[made.slug] = ("" if errors else found.keys[made.slug], made.skip_reason or "")
            remade.removed += [made.slug] * stood
    return remade


def _chart_cache(workspace: Workspace, found: ChangeSet) -> ChartCache:
    """Return the cache of charts drawn by this code with these libraries."""
    from builder.draw.chart_cache import ChartCache

    return ChartCache(workspace.path("charts"), found.whole)


def _previous_output(workspace: Workspace, ledger: BuildState, found: ChangeSet, slug: str) -> PreviousOutput | None:
    """What stands of a build, where it was published and may be believed."""
    from builder.publish.pages.build.worker import PreviousOutput

    if not found.cache_valid or slug not in ledger.builds:
        return None
    return PreviousOutput(workspace.pages.folder / "builds" / slug, ledger.photos.get(slug, {}))


def _store_output(workspace: Workspace, made: BuildOutput) -> None:
    """Lay down what was made of a build: its page as far as it stands, and everything beside it."""
    workspace.pages.sync_subdir(f"builds/{made.slug}", made.files, spare=("index.md", "relatives.svg"))
    workspace.bodies.lay(f"{made.slug}.md", made.page.encode())


@dataclass(frozen=True)
class SummaryIndex:
    """Every published build in its short form."""

    builds: Sequence[Summary]
    lines: Mapping[str, bytes]
    """By slug: the build's line of the index, which is all that is known of it here."""


def _load_summaries(workspace: Workspace, ledger: BuildState, remade: RebuildResult) -> SummaryIndex:
    """The short form of every published build, made now or kept."""
    from builder.archive.index import dump_index, parse_lines

    index = workspace.path("index.json")
    known = parse_lines(index.read_bytes() if index.is_file() else b"")
    # What is made now goes through the index's own form, so that it is just what it will be when it was kept.
    known |= parse_lines(dump_index(remade.summaries.values()))
    found = [known[slug] for slug in sorted(ledger.builds)]
    return SummaryIndex([summary for summary, _ in found], {summary.slug: line for summary, line in found})


# ------------------------------------------------------------------------------------------- pages


def _write_pages(workspace: Workspace, ledger: BuildState, shelf: SummaryIndex, found: ChangeSet) -> Manifest:
    """Write every page of the archive that is not as it should be; returns every file of the pages folder.

    The pages that no build has a part in are written only if they may not be what they were.
    """
    from builder.publish.pages.archive.overview import draw_overviews, overviews_of
    from builder.publish.pages.archive.pages import archive_pages, display_units, fixed_pages
    from builder.publish.pages.build.similar_builds import stale_similar
    from builder.publish.pages.build.worker import template_env

    shop, _ = workspace.shop
    workspace.tell("relating builds", 0, 1)
    pages = workspace.pages
    ledger.page_bodies = workspace.bodies.looked_at(ledger.page_bodies, believed=found.cache_valid)
    workspace.bodies.drop([name for name in ledger.page_bodies if name.removesuffix(".md") not in ledger.builds])
    ledger.page_bodies = workspace.bodies.looked_at(ledger.page_bodies, believed=True)
    bodies = ledger.page_bodies.files("")
    said = {slug: digest_of(line, bodies[f"{slug}.md"]) for slug, line in shelf.lines.items()}
    charts = _chart_cache(workspace, found)
    draw = partial(draw_overviews, overviews_of(shelf.builds, display_units(shop)), charts)
    many = found.global_unchanged and len(shelf.builds) > _PARALLEL_SCAN_FROM
    overviews = workspace.hands.submit(draw, inline=not many).result
    with templating.translate_template_errors():
        related = stale_similar(shelf.builds, said, ledger.similar_hashes, shop=shop, whole=found.whole)
        files = archive_pages(shelf.builds, shop, template_env(workspace.archive, found.whole), overviews)
        if not found.cache_valid or not ledger.static_pages:
            fixed = fixed_pages(shop, template_env(workspace.archive, found.whole)) | templating.assets(
                workspace.archive
            )
            ledger.static_pages = sorted(fixed)
            files |= fixed
    for name, content in files.items():
        pages.lay(name, content)
    _write_relatives(workspace, ledger, related, shop, found)
    tree = pages.looked_at(ledger.pages, believed=found.cache_valid)
    ours = {*files, *ledger.static_pages}
    pages.drop([name for name in tree if name not in ours and not _of_build(name, ledger)])
    return pages.looked_at(tree, believed=True)


def _of_build(page: str, ledger: BuildState) -> bool:
    parts = page.split("/")
    return parts[0] == "builds" and len(parts) > 2 and parts[1] in ledger.builds


def _write_relatives(
    workspace: Workspace, ledger: BuildState, related: Sequence[SimilarBuilds], shop: Shop, found: ChangeSet
) -> None:
    """Complete the pages of builds with their relatives, where they or the page are not what they were."""
    from builder.publish.pages.build.context import SIMILAR_BUILDS_SLOT
    from builder.publish.pages.build.similar_builds import render_similar

    charts = _chart_cache(workspace, found)
    work = partial(render_similar, shop=shop, archive=workspace.archive, templates_key=found.whole, charts=charts)
    blocks = workspace.hands.map(
        work, related, inline_up_to=_FEW_DRAWINGS, after=lambda done: workspace.tell(_RELATING, done, len(related))
    )
    for of, (text, drawing) in zip(related, blocks, strict=True):
        ledger.similar_hashes[of.summary.slug] = of.key
        below = f"builds/{of.summary.slug}"
        body = (workspace.bodies.folder / f"{of.summary.slug}.md").read_bytes()
        workspace.pages.lay(f"{below}/index.md", body.replace(SIMILAR_BUILDS_SLOT.encode(), text.encode()))
        if drawing is None:
            workspace.pages.drop([f"{below}/relatives.svg"])
        else:
            workspace.pages.lay(f"{below}/relatives.svg", drawing)


# -------------------------------------------------------------------------------------------- site


def _build_site(
    workspace: Workspace, ledger: BuildState, standing: Path | None, fresh: Path, pages: Manifest
) -> tuple[set[str], list[str]]:
    """Build the site in `fresh`: where one stands as it was left, only what changed, beside the rest of that one.

    Returns the files that were laid or removed, and what MkDocs warned of.
    """
    from builder.publish.site.mkdocs_site import build_pages, copy_assets, finalize
    from builder.publish.site.search_index import without_pages

    look = _site_config(workspace)
    changed = sorted(changed_paths(pages, ledger.pages) if standing else pages)
    changed_pages = [name for name in changed if name.endswith(".md") and name in pages]
    workspace.tell(_BUILDING, 0, len(changed_pages))
    index = None
    laid = {f"{name[:-3]}.html" if name.endswith(".md") else name for name in changed}
    if standing:
        remove_files(fresh, laid)
        index = without_pages(standing, laid)
    batches = _batches(changed_pages, shell=not standing, hands=workspace.hands)
    others = [name for name in pages if name.endswith(".md")]
    work = partial(build_pages, pages=workspace.path("pages"), out=fresh, look=look, others=others)
    built = []
    if len(batches) == 1:
        # The background process has loaded MkDocs.
        built = [
            workspace.hands.submit(partial(work, batches[0]), inline=not standing).result()
        ]  # there, MkDocs is loaded already
    for each in workspace.hands.map(work, batches) if len(batches) > 1 else ():
        built.append(each)
        workspace.tell(_BUILDING, sum(len(batch.names) for batch in batches[: len(built)]), len(changed_pages))
    copy_assets(
        [name for name in changed if not name.endswith(".md") and name in pages], workspace.path("pages"), fresh
    )
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


def _site_config(workspace: Workspace) -> SiteConfig:
    from builder.publish.pages.archive.pages import NAV
    from builder.publish.site.mkdocs_site import SiteConfig

    shop, _ = workspace.shop
    return SiteConfig(workspace.archive, shop.name, shop.site_address, shop.tagline, NAV)


def _commit_state(workspace: Workspace, ledger: BuildState, shelf: SummaryIndex, pages: Manifest, whole: str) -> None:
    """Write down what was made, last before the new site takes its place.

    A publish that does not come so far is not believed; one that is killed just after finds another site than it
    should, and builds it anew.
    """
    from builder.archive.index import join_lines, write_index
    from builder.archive.summary import newest_first

    index = join_lines(shelf.lines[summary.slug] for summary in newest_first(shelf.builds))
    write_index(workspace.path("index.json"), index)
    ledger.index = digest_bytes(index)
    ledger.pages, ledger.global_hash = pages, whole
    ledger.save(workspace.path("ledger.json"))
    ledger.dirty = False
