"""Writing the pages folder: every page of the archive, the builds' pages with their similar builds included."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from builder.archive.engine_history import EngineHistory, engine_histories
from builder.archive.index import dump_index, parse_lines
from builder.archive.summary import Summary
from builder.draw.chart_cache import ChartCache
from builder.publish.english import English, english_of, shown_texts
from builder.publish.incremental.change_detection import ChangeSet
from builder.publish.incremental.hashing import hash_parts
from builder.publish.incremental.manifest import FileEntry, Manifest, rescan, scan
from builder.publish.incremental.output_dir import remove_files, sync_subfolder, write_if_changed
from builder.publish.incremental.state import BuildState, PublishedBuild, PublishedEngine
from builder.publish.pages import templating
from builder.publish.pages.archive.engine_page import engine_links, histories_with_page, render_engine
from builder.publish.pages.archive.overview import draw_overviews, overview_charts
from builder.publish.pages.archive.pages import (
    FINDER_DATA,
    archive_pages,
    display_units,
    fixed_pages,
    page_renderer,
    shop_pages,
)
from builder.publish.pages.build.context import ENGINE_SLOT, SIMILAR_BUILDS_SLOT
from builder.publish.pages.build.rebuild import RebuildResult
from builder.publish.pages.build.similar_builds import SimilarBuilds, render_similar, stale_similar
from builder.publish.pages.build.worker import template_env
from builder.publish.photos import first_photo
from builder.publish.workers import WorkerPool
from builder.publish.workspace import Workspace
from builder.record.models.shop import Shop
from builder.record.problem import Problem

_FEW_CHARTS = 30
"""Up to so many charts are drawn here sooner than other processes start."""
_STEP, _ENGINE_STEP = "drawing similar builds", "drawing engines"


@dataclass(frozen=True)
class SummaryIndex:
    """Every published build in its short form."""

    builds: Sequence[Summary]
    lines: Mapping[str, bytes]
    """By slug: the build's line of the index, which holds all that the archive's pages use of it."""


def load_summaries(workspace: Workspace, rebuilt: RebuildResult) -> SummaryIndex:
    """Return every published build: as it was built now, or from the index of the last publish."""
    path = workspace.index_file
    known = parse_lines(path.read_bytes() if path.is_file() else b"")
    # A new summary goes through the index's own format, so that it is what it will be when it is read from there.
    known |= parse_lines(dump_index(rebuilt.summaries.values()))
    entries = [known[slug] for slug in sorted(rebuilt.builds)]
    return SummaryIndex([summary for summary, _ in entries], {summary.slug: line for summary, line in entries})


@dataclass(frozen=True)
class PageSet:
    """What the pages folder holds."""

    pages: Manifest
    bodies: Manifest
    static: tuple[str, ...]
    """Files that depend on no build."""
    builds: Mapping[str, PublishedBuild]
    """The builds on the site, with what their sections on similar builds were built from."""
    overview_charts: tuple[str, ...]
    """The keys of the charts on the page of overviews."""
    engines: Mapping[str, PublishedEngine]
    """By the engine's key: the engines that have a page."""
    problems: tuple[Problem, ...] = ()
    """The charts of several builds that could not be drawn."""

    @property
    def chart_keys(self) -> set[str]:
        """Return the keys of all charts on the pages."""
        engine_keys = {key for engine in self.engines.values() for key in engine.charts}
        keys = {key for build in self.builds.values() for key in (*build.charts, build.similar_chart)}
        return keys.union(self.overview_charts, engine_keys)


def write_pages(
    workspace: Workspace,
    previous: BuildState,
    changes: ChangeSet,
    shop: Shop,
    rebuilt: RebuildResult,
    index: SummaryIndex,
    charts: ChartCache,
    workers: WorkerPool,
) -> PageSet:
    """Write every page of the archive that is not as it should be, and remove what no longer belongs.

    Pages that depend on no build are written only where they may be other ones. Raises PublishError where a
    template is at fault.
    """
    if changes.output_valid and not rebuilt.any:
        return PageSet(
            previous.pages,
            previous.bodies,
            previous.static_pages,
            rebuilt.builds,
            previous.overview_charts,
            previous.engines,
        )
    workers.progress("comparing builds", 0, 1)
    overviews = overview_charts(index.builds, display_units(shop))
    drawings = workers.submit(partial(draw_overviews, overviews, charts), inline=changes.global_changed)
    environment = template_env(workspace.archive, workspace.templates / changes.global_hash)
    bodies = _write_bodies(workspace, previous, changes, rebuilt)
    histories = histories_with_page(engine_histories(index.builds))
    with templating.translate_template_errors():
        links = engine_links(histories, environment)
        build_hashes = {
            slug: hash_parts(line, bodies[f"{slug}.md"].sha256, links.get(slug, ""))
            for slug, line in index.lines.items()
        }
        similar_hashes = {slug: build.similar_hash for slug, build in rebuilt.builds.items()}
        similar = stale_similar(index.builds, build_hashes, similar_hashes, shop=shop, global_hash=changes.global_hash)
        english = english_of(shop.english, workspace.archive).keeping(list(shown_texts(index.builds)))
        photos = {slug: photo for slug, build in rebuilt.builds.items() if (photo := first_photo(build.photos))}
        engines = tuple(histories.values())
        files = archive_pages(index.builds, shop, environment, drawings.result, english.text, photos, engines)
        if workspace.edition.is_internal:
            files |= shop_pages(index.builds, page_renderer(shop, environment))
        static = previous.static_pages
        if not changes.output_valid or not static:
            static_files = fixed_pages(shop, environment) | templating.assets(workspace.archive)
            static = tuple(sorted(static_files))
            files |= static_files
    for name, content in files.items():
        write_if_changed(workspace.pages / name, _in_english(name, content, english))
    builds, written, problems = _write_build_pages(workspace, changes, rebuilt, similar, links, shop, charts, workers)
    published_engines, engine_files, engine_problems = _write_engines(
        workspace, previous, changes, index, histories, shop, charts, workers
    )
    owners: dict[str, Container[str]] = {"builds": builds, "engines": published_engines}
    pages = _files_now(workspace.pages, previous.pages, {*rebuilt.written, *files, *written, *engine_files}, changes)
    expected = {*files, *static}
    surplus = [name for name in pages if name not in expected and not _belongs_to_one(name, owners)]
    remove_files(workspace.pages, surplus)
    for name in surplus:
        del pages[name]
    overview_keys = tuple(overview.request.key for overview in overviews)
    return PageSet(pages, bodies, static, builds, overview_keys, published_engines, (*problems, *engine_problems))


def _in_english(name: str, content: bytes, english: English) -> bytes:
    """Return the content of a page, a drawing or a script in the English of the archive."""
    if not english.terms or name == FINDER_DATA:
        return content
    if name.endswith((".md", ".svg")):
        return english.markup(content.decode()).encode()
    return english.script(content.decode()).encode() if name.endswith(".js") else content


def _write_bodies(
    workspace: Workspace, previous: BuildState, changes: ChangeSet, rebuilt: RebuildResult
) -> dict[str, FileEntry]:
    """Remove the page bodies of builds that are not published; return all bodies."""
    bodies = _files_now(workspace.bodies, previous.bodies, {f"{slug}.md" for slug in rebuilt.summaries}, changes)
    surplus = [name for name in bodies if name.removesuffix(".md") not in rebuilt.builds]
    remove_files(workspace.bodies, surplus)
    for name in surplus:
        del bodies[name]
    return bodies


def _write_build_pages(
    workspace: Workspace,
    changes: ChangeSet,
    rebuilt: RebuildResult,
    similar: Sequence[SimilarBuilds],
    links: Mapping[str, str],
    shop: Shop,
    charts: ChartCache,
    workers: WorkerPool,
) -> tuple[dict[str, PublishedBuild], set[str], tuple[Problem, ...]]:
    """Write the pages whose body, section on similar builds or link to the engine changed.

    Returns all builds, the files written, and the charts that could not be drawn.
    """
    work = partial(
        render_similar,
        shop=shop,
        archive=workspace.archive,
        templates=workspace.templates / changes.global_hash,
        charts=charts,
    )
    sections = workers.map(work, similar, step=_STEP, inline_up_to=_FEW_CHARTS)
    builds, written = dict(rebuilt.builds), set[str]()
    problems: list[Problem] = []
    for related, section in zip(similar, sections, strict=True):
        slug = related.summary.slug
        problems += section.problems
        builds[slug] = replace(builds[slug], similar_hash=related.key, similar_chart=section.chart_key)
        page, chart = f"builds/{slug}/index.md", f"builds/{slug}/relatives.svg"
        body = (workspace.bodies / f"{slug}.md").read_bytes()
        body = body.replace(ENGINE_SLOT.encode(), links.get(slug, "").encode())
        write_if_changed(workspace.pages / page, body.replace(SIMILAR_BUILDS_SLOT.encode(), section.text.encode()))
        if section.svg is None:
            remove_files(workspace.pages, [chart])
        else:
            write_if_changed(workspace.pages / chart, section.svg)
        written |= {page, chart}
    return builds, written, tuple(problems)


def _write_engines(
    workspace: Workspace,
    previous: BuildState,
    changes: ChangeSet,
    index: SummaryIndex,
    histories: Mapping[str, EngineHistory],
    shop: Shop,
    charts: ChartCache,
    workers: WorkerPool,
) -> tuple[dict[str, PublishedEngine], set[str], tuple[Problem, ...]]:
    """Write the pages of the engines of which a build changed.

    Returns all engines that have a page, the files that may have changed, and the charts that could not be drawn.
    """
    hashes = {
        key: hash_parts(changes.global_hash, *(index.lines[build.slug] for build in history.builds))
        for key, history in histories.items()
    }
    known = previous.engines if changes.output_valid else {}
    engines = {key: engine for key, engine in known.items() if hashes.get(key) == engine.hash}
    stale = [key for key in histories if key not in engines]
    work = partial(
        render_engine,
        shop=shop,
        archive=workspace.archive,
        templates=workspace.templates / changes.global_hash,
        charts=charts,
    )
    outputs = workers.map(work, [histories[key] for key in stale], step=_ENGINE_STEP, inline_up_to=1)
    written: set[str] = set()
    problems: list[Problem] = []
    for key, output in zip(stale, outputs, strict=True):
        engines[key] = PublishedEngine(hashes[key], output.charts)
        written |= sync_subfolder(workspace.pages, f"engines/{key}", output.files)
        problems += output.problems
    gone = [name for name in previous.pages if name.startswith("engines/") and name.split("/")[1] not in engines]
    return dict(sorted(engines.items())), written.union(gone), tuple(problems)


def _files_now(folder: Path, known: Manifest, written: set[str], changes: ChangeSet) -> dict[str, FileEntry]:
    """Return the files of a folder, of which only some were written if nobody else changed any."""
    return rescan(folder, known, written) if changes.output_valid else scan(folder, known)


def _belongs_to_one(page: str, owners: Mapping[str, Container[str]]) -> bool:
    """Return whether a file of the pages belongs to a build or an engine that has a page; owners are by folder."""
    parts = page.split("/")
    return len(parts) > 2 and parts[1] in owners.get(parts[0], ())
