"""Five thousand builds in the finder, with the processor slowed to a quarter: usable at once, quick to answer."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from tests.support import archive_samples as samples
from tests.support import finder_site

CHROMIUM = Path("/usr/bin/chromium")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not CHROMIUM.exists(), reason="Chromium is not installed: apt-get install chromium"),
]

# From the key to the next painted frame, in the page's own time.
CHANGE = """async ([selector, value]) => {
  const input = document.querySelector(selector);
  await new Promise((done) => requestAnimationFrame(() => setTimeout(done, 300)));
  const began = performance.now();
  input.value = value;
  input.dispatchEvent(new Event("input", {bubbles: true}));
  await new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
  return performance.now() - began;
}"""
PAINTED = "() => new Promise((done) => requestAnimationFrame(() => setTimeout(() => done(performance.now()))))"


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    few = samples.archive(1000, sparse=0.1)
    many = [
        replace(s, slug=f"{s.slug}-{k}", displacement=(s.displacement or 0.005) * (1 + 0.004 * k))
        for k in range(5)
        for s in few
    ]
    return finder_site.write_site(tmp_path_factory.mktemp("finder"), many)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as p:
        chromium = p.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox"])
        yield chromium
        chromium.close()


def opened(browser: Browser, site: Path) -> tuple[Page, float]:
    page = browser.new_page(viewport={"width": 1440, "height": 1000})
    page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": 4})
    page.goto((site / "finder.html").as_uri())
    page.wait_for_selector("[data-ready]")
    return page, page.evaluate(PAINTED)


def test_thousands_are_usable_at_once_and_answer_each_key(browser: Browser, site: Path) -> None:
    # Best of a few: other programs on the machine are not what is measured.
    ready = []
    for _ in range(8):
        page, took = opened(browser, site)
        ready.append(took)
        if took < 1500:
            break
        page.close()
    assert min(ready) < 1500
    assert page.inner_text(".mb-finder-count strong") == "5000"
    least, words = "input[aria-label^='Displacement'][aria-label$='least']", ".mb-finder-words input"
    changes = [
        (words, "v"),
        (words, "v8"),
        (words, ""),
        (least, "3"),
        (least, "300"),
        (least, ""),
        (words, "marine"),
        (words, ""),
    ]
    best = [float("inf")] * len(changes)
    for _ in range(30):
        for k, change in enumerate(changes):
            if best[k] >= 100 or k == 0:
                best[k] = min(best[k], page.evaluate(CHANGE, list(change)))
            else:
                page.evaluate(CHANGE, list(change))
        if max(best) < 100:
            break
    assert max(best) < 100, [round(b) for b in best]
    page.close()
