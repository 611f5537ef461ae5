"""The demo archive, published once for all browser tests of a run."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from builder.publish.deploy.lock import lock
from builder.publish.pipeline import publish
from tests.support.browser import wait_until
from tests.support.demo_builds import copy_builds

if TYPE_CHECKING:
    from playwright.sync_api import Page

BUILDS = ("pilot-launch-four", "breakdown-truck-v8", "fire-pump-flat-four", "offshore-v8", "post-van-four")
"""Complete ones, a sparse one, one with a fit accepted out of range, and one that is not finished."""
BUILD = "builds/pilot-launch-four/index.html"
KINDS = (
    "index.html",
    "builds.html",
    "lists.html",
    "overview.html",
    "parts.html",
    "methods.html",
    "glossary.html",
    "fields.html",
    "finder.html",
    "compare.html?with=pilot-launch-four,breakdown-truck-v8",
    BUILD,
    "builds/fire-pump-flat-four/index.html",
)
"""One address of every kind of page, and a sparse build."""


def load_every_image(tab: Page) -> None:
    """Have every image of a page loaded, those far down and folded away as well."""
    tab.evaluate("document.querySelectorAll('article details').forEach(fold => fold.open = true)")
    tab.evaluate("document.querySelectorAll('img').forEach(image => image.loading = 'eager')")
    wait_until(tab, "[...document.querySelectorAll('article img')].every(image => image.complete)")


def published(folder: Path) -> Path:
    """Return the demo site below a folder that all workers share; the first that asks publishes it."""
    archive, done = folder / "demo", folder / "demo.done"
    with lock(folder / "demo.lock"):
        if not done.exists():
            copy_builds(archive, *BUILDS)
            report = publish(archive, archive / "site")
            assert report.ok, [str(problem) for problem in report.problems]
            assert not report.warnings
            done.touch()
    return archive / "site"
