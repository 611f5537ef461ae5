"""Building the site in the staging directory: pages that changed, and everything else from the published site."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from builder.publish.incremental.change_detection import ChangeSet
from builder.publish.incremental.manifest import Manifest, changed_paths, rescan, scan
from builder.publish.incremental.output_dir import remove_files
from builder.publish.incremental.state import BuildState
from builder.publish.pages.templating import copy_static
from builder.publish.site.mkdocs_site import PageBatch, SiteConfig, build_pages, copy_assets, finalize, preload
from builder.publish.site.search_index import without_pages
from builder.publish.workers import WorkerPool
from builder.publish.workspace import Workspace

if TYPE_CHECKING:
    from builder.record.models.shop import Shop

NAV = (
    ("Home", "index.md"),
    ("All builds", "builds.md"),
    ("Find a build", "finder.md"),
    ("Browse by", "lists.md"),
    ("Charts", "overview.md"),
    ("Parts", "parts.md"),
    ("How we calculate", "methods.md"),
    ("Glossary", "glossary.md"),
)
"""The pages in the header of every page. Kept here, so that the process that loads MkDocs need not load the rest."""

SHOP_NAV = (NAV[0], ("Jobs", "jobs.md"), *NAV[1:-1])
"""The same in the shop's own edition, which can do without the glossary there."""

_MAX_PAGES_PER_BATCH = 60
"""MkDocs holds all pages of a batch in memory at once."""
_FEW_PAGES = 30
"""A batch of so few pages is built sooner than another process starts."""
_STEP = "building the site"


@dataclass(frozen=True)
class SiteBuild:
    """The finished site in the staging directory."""

    files: Manifest
    written: frozenset[str]
    """Files that were written or removed; none where the published site is already what it should be."""
    warnings: tuple[str, ...]
    """What MkDocs warned of."""


def load_libraries(archive: Path) -> None:
    """Load what draws charts, then MkDocs, so that they are there when the first page needs them."""
    from builder.draw import svg_backend  # noqa: F401
    from builder.draw.charts import scatter  # noqa: F401

    preload(archive)


def build_site(
    workspace: Workspace,
    previous: BuildState,
    changes: ChangeSet,
    site: Path,
    staging: Path,
    shop: Shop,
    pages: Manifest,
    workers: WorkerPool,
) -> SiteBuild:
    """Build the site of these pages in the staging directory, where the files that can be reused are already."""
    reuse = changes.site_reusable
    changed = sorted(changed_paths(pages, previous.pages) if reuse else pages)
    if reuse and not changed:
        return SiteBuild(previous.site, frozenset(), ())
    nav = SHOP_NAV if workspace.edition.is_internal else NAV
    config = SiteConfig(workspace.archive, shop.name, shop.site_address, shop.tagline, nav)
    changed_pages = [name for name in changed if name.endswith(".md") and name in pages]
    all_pages = [name for name in pages if name.endswith(".md")]
    written = {f"{name[:-3]}.html" if name.endswith(".md") else name for name in changed}
    index = without_pages(site, written) if reuse else None
    if reuse:
        remove_files(staging, written)
    workers.progress(_STEP, 0, len(changed_pages))
    batches = _batches(changed_pages, theme_files=not reuse, workers=workers)
    work = partial(build_pages, pages=workspace.pages, out=staging, config=config, others=all_pages)
    if len(batches) == 1:
        # The background process has loaded MkDocs while the pages were written.
        results = [workers.submit(partial(work, batches[0]), inline=not reuse).result()]
    else:
        results = []
        for result in workers.map(work, batches):
            results.append(result)
            done = sum(len(batch.names) for batch in batches[: len(results)])
            workers.progress(_STEP, done, len(changed_pages))
    copy_assets([name for name in changed if not name.endswith(".md") and name in pages], workspace.pages, staging)
    written.update(*(result.names for result in results), finalize(staging, config, index, results, all_pages))
    if not reuse:
        written.update(copy_static(workspace.archive, staging))
    files = rescan(staging, previous.site, written) if reuse else scan(staging, {})
    return SiteBuild(files, frozenset(written), tuple(warning for result in results for warning in result.warnings))


def _batches(names: Sequence[str], *, theme_files: bool, workers: WorkerPool) -> list[PageBatch]:
    """Return the pages in batches, enough of them for all workers; the theme's files go with the first."""
    size = max(_FEW_PAGES, min(_MAX_PAGES_PER_BATCH, -(-len(names) // workers.count)))
    batches = [tuple(names[start : start + size]) for start in range(0, len(names), size)]
    if theme_files:
        batches = batches or [()]
    return [PageBatch(batch, theme_files and number == 0) for number, batch in enumerate(batches)]
