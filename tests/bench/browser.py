"""Pages and the finder in Chromium with the processor slowed to a quarter, from a local server."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from builder.commands.preview_server import serving
from tests.bench.aims import AIMS, print_figure
from tests.support import archive_samples as samples
from tests.support import demo_site, finder_site

TRIES = 6
LONG_TASKS = (
    "window.tasks = [];"
    "new PerformanceObserver(l => { for (const e of l.getEntries()) window.tasks.push(e.duration) })"
    ".observe({type: 'longtask', buffered: true});"
)
FIRST_PAINT = "performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? Infinity"
PAINTED = "() => new Promise((done) => requestAnimationFrame(() => setTimeout(() => done(performance.now()))))"
KEY = """async ([selector, value]) => {
  const input = document.querySelector(selector);
  await new Promise((done) => requestAnimationFrame(() => setTimeout(done, 300)));
  const began = performance.now();
  input.value = value;
  input.dispatchEvent(new Event("input", {bubbles: true}));
  await new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
  return performance.now() - began;
}"""
"""From the key to the next painted frame, in the page's own time."""
WORDS, LEAST = ".mb-finder-words input", "input[aria-label^='Displacement'][aria-label$='least']"
KEYS = [(WORDS, "v"), (WORDS, "v8"), (WORDS, ""), (LEAST, "3"), (LEAST, "300"), (LEAST, ""), (WORDS, "marine")]


@contextmanager
def slow_page(chromium: Browser) -> Iterator[Page]:
    """Open an empty page on a machine four times slower."""
    context = chromium.new_context(viewport={"width": 1440, "height": 900})
    page = context.new_page()
    context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": 4})
    yield page
    context.close()


def main() -> None:
    """Print the figures; each is the least of a few tries, no more of them than it takes to meet the aim."""
    program = shutil.which("chromium")
    if program is None:
        print("  Chromium is not installed: apt-get install chromium")
        return
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        site = demo_site.published(Path(folder))
        finder = finder_site.write_site(Path(folder) / "finder", finder_builds())
        chromium = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        with serving(site) as address:
            print_pages(chromium, address)
        print_finder(chromium, finder)
        chromium.close()


def finder_builds() -> list[samples.Summary]:
    """Return 5,000 invented engines."""
    return [
        replace(build, slug=f"{build.slug}-{k}", displacement=(build.displacement or 0.005) * (1 + 0.004 * k))
        for k in range(5)
        for build in samples.invented_archive(1000, sparse=0.1)
    ]


def print_pages(chromium: Browser, address: str) -> None:
    """Print the first paint of a build and the longest task of every kind of page."""
    paint = float("inf")
    for _ in range(TRIES):
        with slow_page(chromium) as page:
            page.goto(f"{address}{demo_site.BUILD}")
            page.wait_for_timeout(600)
            paint = min(paint, page.evaluate(FIRST_PAINT))
        if paint < AIMS["first paint of a build"].limit:
            break
    print_figure("first paint of a build", paint)
    for name in demo_site.KINDS:
        longest = float("inf")
        for _ in range(TRIES):
            with slow_page(chromium) as page:
                page.add_init_script(LONG_TASKS)
                page.goto(f"{address}{name}")
                page.wait_for_timeout(1500)
                longest = min(longest, max(page.evaluate("window.tasks"), default=0.0))
            if longest < AIMS["longest task while a page loads"].limit:
                break
        print_figure("longest task while a page loads", longest, name)


def print_finder(chromium: Browser, site: Path) -> None:
    """Print how soon the finder can be used with 5,000 builds, and how long each key takes."""
    ready, answers = float("inf"), [float("inf")] * len(KEYS)
    for _ in range(TRIES):
        with slow_page(chromium) as page:
            page.goto((site / "finder.html").as_uri())
            page.wait_for_selector("[data-ready]")
            ready = min(ready, page.evaluate(PAINTED))
            for _ in range(TRIES):
                answers = [min(best, page.evaluate(KEY, list(key))) for best, key in zip(answers, KEYS, strict=True)]
        if (
            ready < AIMS["finder with 5,000 builds, ready"].limit
            and max(answers) < AIMS["finder with 5,000 builds, a key"].limit
        ):
            break
    print_figure("finder with 5,000 builds, ready", ready)
    print_figure("finder with 5,000 builds, a key", max(answers))


if __name__ == "__main__":
    main()
