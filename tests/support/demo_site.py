"""The demo archive, published once for all tests of a run: a few builds for the browser, and the whole of it."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from builder.publish import workers
from builder.publish.pipeline import publish
from builder.publish.report import PublishReport
from tests.support.browser import wait_until
from tests.support.demo_builds import ROOT, copy_builds
from tests.support.once import once

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


def published(shared: Path) -> Path:
    """Return the site of a few builds."""

    def make(archive: Path) -> Path:
        copy_builds(archive, *BUILDS)
        report = publish(archive, archive / "site")
        assert report.ok, [str(problem) for problem in report.problems]
        assert not report.warnings
        return archive / "site"

    return once(shared, "demo", make)


def whole_demo(shared: Path) -> PublishReport:
    """Return the report of publishing the whole demo archive, which is the folder around the report's site.

    Two processes share the work, whatever the machine has.
    """

    def make(archive: Path) -> PublishReport:
        shutil.copytree(ROOT / "builds", archive / "builds")
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(workers, "_available_cpus", lambda: 2)
            return publish(archive, archive / "site")

    return once(shared, "whole demo", make)
