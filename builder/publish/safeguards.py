"""What a publish refuses before it changes anything: to take most builds off the site, to delete files of others."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from pathlib import Path

from builder.publish.errors import PublishRefused
from builder.publish.incremental.manifest import Manifest
from builder.publish.incremental.state import BuildState, SkippedBuild
from builder.publish.pages.templating import FOLDER, STATIC, static_files
from builder.record.wording import first_of

SITE_ENTRIES = frozenset(
    [
        "404.html",
        "assets",
        "builds",
        "builds.html",
        "compare.html",
        "engines",
        "fields.html",
        "finder.html",
        "glossary.html",
        "index.html",
        "lists.html",
        "methods.html",
        "overview.html",
        "parts.html",
        "search",
        "sitemap.xml",
    ]
)
"""What there is at the top of every site."""
SHOWN = 12
"""How many builds or files a message names."""


def published_builds(site: Path, state: BuildState) -> frozenset[str]:
    """Return the slugs of the builds on the site: as the last publish left them, or as its folders show.

    The folders are asked where there is no state, or where it is that of another site of the same archive.
    """
    if state.site_path == str(site):
        return frozenset(state.builds)
    return frozenset(path.parent.name for path in (site / "builds").glob("*/index.html"))


def refuse_removals(
    published: Collection[str], remaining: Collection[str], skipped: Mapping[str, SkippedBuild] | None = None
) -> None:
    """Raise PublishRefused where more than half of the published builds would no longer be on the site.

    ``skipped`` says why a build whose folder is there is left out.
    """
    removed = sorted(slug for slug in published if slug not in remaining)
    if 2 * len(removed) <= len(published):
        return
    reasons = {slug: build.reason for slug, build in (skipped or {}).items()}
    lines = [f"{slug} ({reasons.get(slug) or 'its folder is gone'})" for slug in removed]
    count = f"{len(removed)} of {len(published)}" if len(removed) < len(published) else f"all {len(removed)}"
    raise PublishRefused(
        f"this would remove {count} published builds from the site: {first_of(lines, SHOWN)}. Nothing was changed. "
        "If they are to go, publish with --allow-removals; if not, look whether the drive is connected"
    )


def refuse_foreign_files(site: Path, files: Manifest, state: BuildState, archive: Path) -> None:
    """Raise PublishRefused where the site holds a file that no publish wrote.

    Without a state, or with that of another site of the archive, only the names at the top of the site are known.
    """
    if state.site_path == str(site):
        names = [name for name in files if name not in state.site and name not in state.replaced]
        top = {name.partition("/")[0] for name in (*state.site, *state.replaced)}
    else:
        top = {*SITE_ENTRIES, *(name.partition("/")[0] for name in static_files(archive))}
        names = [name for name in files if name.partition("/")[0] not in top]
    foreign = {name if name.partition("/")[0] in top else name.partition("/")[0] for name in names}
    if not foreign:
        return
    advice = f"Move what should be on the site to {FOLDER}/{STATIC}/, from where it is copied to every site"
    if ".git" in foreign:
        advice += "; keep a repository outside: publish into a folder of its own with --out, and copy from there"
    raise PublishRefused(
        f"{site} holds what this program did not write: {first_of(sorted(foreign), SHOWN)}. "
        f"Nothing was changed. {advice}"
    )
