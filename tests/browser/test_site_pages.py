"""One visit to the published demo archive in a real browser, from a server and from a folder; and its print style."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page

from builder.commands.preview_server import serving
from tests.support.browser import wait_until

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def address(published: Path) -> Iterator[str]:
    with serving(published) as url:
        yield url


class Watched:
    """A page whose console, errors and requests are recorded."""

    def __init__(self, chromium: Browser, **settings: Any) -> None:
        self.context: BrowserContext = chromium.new_context(**settings)
        self.page: Page = self.context.new_page()
        self.messages: list[str] = []
        self.requests: list[str] = []
        self.page.on("console", lambda message: self.messages.append(message.text))
        self.page.on("pageerror", lambda error: self.messages.append(str(error)))
        self.page.on("request", lambda request: self.requests.append(request.url))

    def foreign_requests(self, own: str) -> list[str]:
        return [url for url in self.requests if not url.startswith((own, "data:", "blob:"))]


@pytest.mark.parametrize("scheme", ["server", "folder"])
def test_a_first_time_visitor_finds_reads_and_compares(
    scheme: str, published: Path, address: str, chromium: Browser
) -> None:
    own = address if scheme == "server" else published.as_uri()
    start = f"{address}index.html" if scheme == "server" else f"{published.as_uri()}/index.html"
    watched = Watched(chromium, viewport={"width": 1280, "height": 900})
    page = watched.page
    page.goto(start)
    # By text.
    wait_until(page, "document.body.dataset.mdColorScheme !== undefined")
    page.click("[data-md-component='search-query']")
    page.keyboard.type("pilot launch", delay=30)
    result = page.locator(".md-search-result__link[href*='pilot-launch-four']").first
    result.wait_for()
    result.click()
    page.wait_for_url("**/pilot-launch-four/**")
    # The working opens in place, and leads to its method.
    figure = page.locator("details#compression_ratio")
    page.locator("details.mb-fold", has=figure).locator("> summary").click()
    figure.locator("> summary").click()
    assert figure.locator(".mb-formula").is_visible()
    figure.locator("a[href*='methods.html#compression_ratio']").click()
    page.wait_for_url("**/methods.html#compression_ratio")
    # By filter.
    page.goto(start.replace("index.html", "finder.html"))
    page.locator(".mb-finder-count strong").wait_for()
    assert page.inner_text(".mb-finder-count strong") == "4"
    page.fill(".mb-finder-words input", "breakdown")
    wait_until(page, "document.querySelector('.mb-finder-count strong').textContent === '1'")
    # Two side by side.
    page.goto(start.replace("index.html", "compare.html#with=breakdown-truck-v8,pilot-launch-four"))
    page.get_by_text("V8 for the breakdown truck").first.wait_for()
    assert watched.messages == []
    assert watched.foreign_requests(own) == []
    watched.context.close()


def test_on_paper_the_page_is_the_record_alone(address: str, chromium: Browser) -> None:
    watched = Watched(chromium)
    watched.page.goto(f"{address}builds/pilot-launch-four/index.html")
    watched.page.emulate_media(media="print", color_scheme="dark")
    for selector in (".mb-nav", ".mb-tools", ".mb-side"):  # the shop's name stays, as on a letterhead
        assert not watched.page.locator(selector).first.is_visible(), selector
    ground = watched.page.evaluate("getComputedStyle(document.body).backgroundColor")
    light = "rgb(255, 255, 255)", "rgba(0, 0, 0, 0)", "rgb(251, 250, 247)"
    assert ground in light
    assert watched.page.pdf()[:5] == b"%PDF-"
    watched.context.close()
