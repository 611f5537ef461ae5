"""The demo archive, published once for all browser tests of a worker, and a browser to look at it with."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from functools import cache
from pathlib import Path

from playwright.sync_api import Page

from builder.publish.pipeline import publish

ROOT = Path(__file__).resolve().parents[2]
CHROMIUM = Path("/usr/bin/chromium")
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
    for _ in range(100):
        if tab.evaluate("[...document.querySelectorAll('article img')].every(image => image.complete)"):
            return
        tab.wait_for_timeout(100)
    raise AssertionError("the images of the page did not load within ten seconds")


@cache
def demo_site() -> Path:
    """The published site, without an address to publish under, as a folder that a shop hands round."""
    folder = Path(tempfile.mkdtemp(prefix="millbook-site-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    for slug in BUILDS:
        shutil.copytree(ROOT / "builds" / slug, folder / "builds" / slug)
    shutil.copy(ROOT / "builds" / "shop.yaml", folder / "builds" / "shop.yaml")
    report = publish(folder, folder / "site")
    assert report.ok, [str(problem) for problem in report.problems]
    assert not report.warnings
    return report.out
