"""Building the stale builds again: their pages, charts, photos and data go to the pages folder as they come."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial

from builder.archive.summary import Summary
from builder.draw.chart_cache import ChartCache
from builder.publish.incremental.change_detection import ChangeSet
from builder.publish.incremental.output_dir import sync_subfolder, write_if_changed
from builder.publish.incremental.state import BuildState, PublishedBuild, SkippedBuild
from builder.publish.pages.build.worker import BuildOutput, BuildTask, PreviousOutput, build_safely
from builder.publish.workers import WorkerPool
from builder.publish.workspace import Workspace
from builder.record.models.shop import Shop
from builder.record.problem import Problem, errors_in

_STEP = "reading, computing, drawing"


@dataclass(frozen=True)
class RebuildResult:
    """All builds of the archive, after the stale ones were built again."""

    builds: Mapping[str, PublishedBuild]
    """By slug: the builds for the site."""
    skipped: Mapping[str, SkippedBuild]
    """By slug: the builds that are left out."""
    summaries: Mapping[str, Summary]
    """By slug: the builds that were built now, in their short form."""
    removed: tuple[str, ...]
    """Builds that were on the site and are left out now."""
    problems: tuple[Problem, ...]
    """What is wrong with the records that were read now."""
    written: frozenset[str]
    """Files of the pages folder that may have changed."""

    @property
    def any(self) -> bool:
        """Return whether a build is on the site, or is no longer, that was not so before."""
        return bool(self.summaries or self.removed)


def rebuild(
    workspace: Workspace, previous: BuildState, changes: ChangeSet, shop: Shop, charts: ChartCache, workers: WorkerPool
) -> RebuildResult:
    """Build the stale builds, leave out those whose folder is gone, and write what was built to the pages folder."""
    builds = {slug: build for slug, build in previous.builds.items() if slug not in changes.deleted}
    skipped = {slug: build for slug, build in previous.skipped.items() if slug not in changes.deleted}
    removed = [slug for slug in changes.deleted if slug in previous.builds]
    summaries: dict[str, Summary] = {}
    problems: list[Problem] = []
    written: set[str] = set()
    tasks = [BuildTask(folder, _previous_output(workspace, previous, changes, folder.name))
             for folder in changes.stale_folders]  # fmt: skip
    work = partial(
        build_safely,
        archive=workspace.archive,
        shop=shop,
        templates=workspace.templates / changes.global_hash,
        charts=charts,
        edition=workspace.edition,
    )
    for output in workers.map(work, tasks, step=_STEP):
        slug, errors = output.slug, len(errors_in(output.problems))
        problems += output.problems
        if output.summary is not None:
            skipped.pop(slug, None)
            builds[slug] = PublishedBuild(
                changes.source_hashes[slug], output.photos, output.charts, errors, len(output.problems) - errors
            )
            summaries[slug] = output.summary
            written |= _write_output(workspace, output)
        elif errors and slug in builds and workspace.edition.is_internal:
            # Somebody is at work on this record: its last good page stays until the record can be read again.
            skipped[slug] = SkippedBuild("", f"{output.skip_reason}; kept the previous page")
        else:
            if builds.pop(slug, None) is not None:
                removed.append(slug)
            # A build with errors is read each time, so that its errors are reported each time.
            source_hash = "" if errors else changes.source_hashes[slug]
            skipped[slug] = SkippedBuild(source_hash, output.skip_reason or "")
    return RebuildResult(builds, skipped, summaries, tuple(removed), tuple(problems), frozenset(written))


def _previous_output(
    workspace: Workspace, previous: BuildState, changes: ChangeSet, slug: str
) -> PreviousOutput | None:
    """Return what the last publish wrote for a build, where this program would write the same."""
    if changes.global_changed or slug in changes.corrupted or slug not in previous.builds:
        return None
    return PreviousOutput(workspace.pages / "builds" / slug, previous.builds[slug].photos)


def _write_output(workspace: Workspace, output: BuildOutput) -> set[str]:
    """Write a build's files and its page without the section on similar builds; return what may have changed."""
    write_if_changed(workspace.bodies / f"{output.slug}.md", output.page.encode())
    return sync_subfolder(workspace.pages, f"builds/{output.slug}", output.files, others=("index.md", "relatives.svg"))
