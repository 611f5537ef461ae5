"""Publishing an archive: from build folders to a published site.

`publish` is the whole of it, with the steps in the order in which data flows: find what changed; read, compute and
draw those builds; relate the builds to each other; write pages; let MkDocs build the site; swap it in.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from builder.publish.deploy.atomic_swap import activate, exclusive_output, file_system_time, keep_staging, staging_dir
from builder.publish.deploy.lock import lock
from builder.publish.deploy.site_mirror import sync_mirror, update_mirror
from builder.publish.deploy.working_folder import clear_working_folder, unlink_links
from builder.publish.edition import Edition
from builder.publish.errors import PublishRefused, name_path
from builder.publish.incremental.change_detection import ChangeSet, begin_page_check, detect_changes
from builder.publish.incremental.hashing import hash_bytes
from builder.publish.incremental.manifest import changed_paths, scan
from builder.publish.incremental.state import BuildState, load_state, save_state
from builder.publish.own_code import own_code_in_force
from builder.publish.report import Progress, PublishReport, no_progress
from builder.publish.safeguards import published_builds, refuse_foreign_files, refuse_removals
from builder.publish.workers import WorkerPool
from builder.publish.workspace import Workspace
from builder.record.files import ArchiveError, build_folders
from builder.record.problem import errors_in

if TYPE_CHECKING:
    from builder.publish.pages.build.rebuild import RebuildResult
    from builder.publish.pages.write import PageSet, SummaryIndex
    from builder.publish.site.build import SiteBuild
    from builder.record.problem import Problem


def publish(
    archive: Path,
    out: Path,
    *,
    edition: Edition = Edition.PUBLIC,
    full: bool = False,
    allow_removals: bool = False,
    progress: Progress = no_progress,
) -> PublishReport:
    """Publish an edition of the archive as a site in `out`; return the report.

    `full` builds everything again, whatever changed. The published site is replaced only when the new one is
    complete. Raises PublishError, with a message for the shop, when it cannot be, and PublishRefused where files of
    others would be lost, or more than half of the published builds, unless `allow_removals`.
    """
    started = time.perf_counter()
    workspace = Workspace(archive, edition)
    with WorkerPool(progress=progress) as workers, _exclusive(workspace, out, workers.progress) as site:
        page_check = begin_page_check(workspace, workers, full=full)
        saved = load_state(workspace.state_file)
        previous = BuildState() if full else saved
        now = file_system_time(site)
        changes = detect_changes(workspace, previous, site, page_check, partial(_load, archive, workers))
        refuse_foreign_files(site, changes.site_files, saved, workspace.archive)
        published = frozenset() if allow_removals or edition.is_internal else published_builds(site, saved)
        refuse_removals(published, {folder.name for folder in changes.folders})
        if not changes.any:
            workspace.write_verified(now)
            return _report_unchanged(workspace, out, site, previous, changes, started)

        from builder.archive.shop_profile import read_shop_profile
        from builder.draw.chart_cache import ChartCache
        from builder.publish.pages.build.rebuild import rebuild
        from builder.publish.pages.write import load_summaries, write_pages
        from builder.publish.site.build import build_site

        reusable = previous.site if changes.site_reusable else {}
        # The workers end before the staging directory is removed: they may be writing to it.
        with staging_dir(site) as staging, contextlib.closing(workers):
            prepared = workers.submit(partial(sync_mirror, site, staging, reusable), inline=not reusable)
            shop, shop_problems = read_shop_profile(archive)
            submit = None if changes.global_changed else partial(workers.submit, retry=True)
            charts = ChartCache(workspace.charts, changes.code_hash, submit)
            _clean_working_folders(workspace, previous, changes)
            rebuilt = rebuild(workspace, previous, changes, shop, charts, workers)
            refuse_removals(published, rebuilt.builds, rebuilt.skipped)
            index = load_summaries(workspace, rebuilt)
            pages = write_pages(workspace, previous, changes, shop, rebuilt, index, charts, workers)
            hard_links = prepared.result()
            built = build_site(workspace, previous, changes, site, staging, shop, pages.pages, workers)
            charts.prune(pages.chart_keys)
            engine_problems = _engine_problems(archive, changes, index)
            state = _commit(workspace, site, changes, rebuilt, index, pages, built, len(shop_problems), engine_problems)
            if built.written:
                activate(staging, site)
            if reusable and hard_links and update_mirror(site, staging, built.written):
                keep_staging(staging, site)
        workspace.write_verified(file_system_time(site))
    problems = (*shop_problems, *rebuilt.problems, *pages.problems, *engine_problems)
    return _report(archive, out, state, problems, started, built.warnings, frozenset(rebuilt.summaries))


def _load(archive: Path, workers: WorkerPool) -> None:
    """Load what a few builds are built with, which takes 0.4 s, while another process loads what draws their charts."""
    from builder.publish.site.build import load_libraries

    workers.submit(partial(load_libraries, archive))
    import builder.publish.pages.build.worker  # noqa: F401


@contextlib.contextmanager
def _exclusive(workspace: Workspace, out: Path, progress: Progress) -> Iterator[Path]:
    """Lock the site and the working folder, which two sites of one archive share; yield the real path of the site.

    Raises PublishRefused, before anything is created, where the folder of the builds is missing, or a folder
    that is not ours has the name of a working folder.
    """

    def notify(message: str) -> None:
        progress(message, 0, 0)

    try:
        build_folders(workspace.archive)
        workspace.check()
        with exclusive_output(out, archive=workspace.archive, notify=notify) as site:
            workspace.open()
            with lock(workspace.lock_file, notify=notify):
                for leftover in workspace.lock_file.parent.glob("*.part"):  # of a publish that was killed
                    leftover.unlink(missing_ok=True)
                yield site
    except ArchiveError as error:
        raise PublishRefused(str(error)) from error


def _clean_working_folders(workspace: Workspace, previous: BuildState, changes: ChangeSet) -> None:
    """Remove links from the folders of the pages, and compiled templates that are not as the last publish left them."""
    if not changes.output_valid:
        for folder in (workspace.pages, workspace.bodies):
            unlink_links(folder)
    if changes.global_changed or changed_paths(previous.templates, scan(workspace.templates, {})):
        clear_working_folder(workspace.templates)


def _engine_problems(archive: Path, changes: ChangeSet, index: SummaryIndex) -> list[Problem]:
    """Return what cannot be true of the published builds of one engine together."""
    from builder.archive.engine_checks import EngineEntry, engine_problems

    entries = [EngineEntry(s.slug, s.engine, s.cylinders, s.cycle) for s in index.builds if s.engine is not None]
    unnumbered = [summary.slug for summary in index.builds if summary.engine is None]
    return engine_problems(archive, entries, [folder.name for folder in changes.folders], unnumbered)


def _counts(problems: Sequence[Problem]) -> tuple[int, int]:
    errors = len(errors_in(problems))
    return errors, len(problems) - errors


def _commit(
    workspace: Workspace,
    site: Path,
    changes: ChangeSet,
    rebuilt: RebuildResult,
    index: SummaryIndex,
    pages: PageSet,
    built: SiteBuild,
    shop_problems: int,
    engine_problems: Sequence[Problem],
) -> BuildState:
    """Save the new state and the archive's index, as the last step before the new site takes the old one's place.

    A publish that does not come this far leaves the old state, in which the files it wrote count as corrupted. After
    one that is killed just behind this, the site is not the one in the state, and is built again.
    """
    from builder.archive.index import join_lines, write_index
    from builder.archive.summary import newest_first

    content = join_lines(index.lines[summary.slug] for summary in newest_first(index.builds))
    with name_path(workspace.index_file):
        write_index(workspace.index_file, content)
    state = BuildState(
        global_hash=changes.global_hash,
        shop_hash=changes.shop_hash,
        shop_page_hash=changes.shop_page_hash,
        shop_problems=shop_problems,
        engine_problems=_counts(engine_problems),
        site_path=str(site),
        index_hash=hash_bytes(content),
        sources=changes.sources,
        builds=pages.builds,
        skipped=rebuilt.skipped,
        engines=pages.engines,
        static_pages=pages.static,
        overview_charts=pages.overview_charts,
        bodies=pages.bodies,
        pages=pages.pages,
        templates=scan(workspace.templates, {}),
        site=built.files,
        replaced=tuple(sorted(changes.site_files.keys() - built.files.keys())),
    )
    with name_path(workspace.state_file):
        save_state(state, workspace.state_file)
    return state


def _report_unchanged(
    workspace: Workspace, out: Path, site: Path, previous: BuildState, changes: ChangeSet, started: float
) -> PublishReport:
    """Return the report of a publish without work: only what is wrong with shop.yaml is reported again."""
    problems: Sequence[Problem] = ()
    if previous.shop_problems or changes.shop_hash != previous.shop_hash:
        from builder.archive.shop_profile import read_shop_profile

        _, problems = read_shop_profile(workspace.archive)
    state = replace(
        previous,
        sources=changes.sources,
        shop_hash=changes.shop_hash,
        shop_problems=len(problems),
        site_path=str(site),
        site=changes.site_files,
    )
    if state != previous:
        save_state(state, workspace.state_file)
    return _report(workspace.archive, out, state, problems, started, engine_problems=state.engine_problems)


def _report(
    archive: Path,
    out: Path,
    state: BuildState,
    problems: Sequence[Problem],
    started: float,
    warnings: Sequence[str] = (),
    rebuilt: frozenset[str] = frozenset(),
    engine_problems: tuple[int, int] = (0, 0),
) -> PublishReport:
    """Return the report; ``engine_problems`` are errors and warnings between builds that are not among the problems."""
    unchanged = [build for slug, build in state.builds.items() if slug not in rebuilt]
    return PublishReport(
        out,
        tuple(sorted(state.builds)),
        tuple((slug, build.reason) for slug, build in sorted(state.skipped.items())),
        tuple(problems),
        tuple(warnings),
        time.perf_counter() - started,
        len(rebuilt),
        own_code_in_force(archive),
        (
            sum(build.errors for build in unchanged) + engine_problems[0],
            sum(build.warnings for build in unchanged) + engine_problems[1],
        ),
    )
