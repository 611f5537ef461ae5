"""What a publish refuses to do, before it changes anything: take most builds off the site."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from pathlib import Path

from builder.publish.errors import PublishRefused
from builder.publish.incremental.state import BuildState, SkippedBuild

_SHOWN = 12
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
        f"this would take {count} published builds off the site: {shortened(lines)}. Nothing was changed. "
        "If they are to go, publish with --allow-removals; if not, look whether the drive is connected"
    )


def shortened(items: list[str]) -> str:
    """Return the first of these items in one line, and how many more there are."""
    more = len(items) - _SHOWN
    return ", ".join(items[:_SHOWN]) + (f" and {more} more" if more > 0 else "")
