"""The offline record: complete, of one engine only, and opened as a file in a browser without a network."""

from __future__ import annotations

import html
import re
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import pytest

from tests.support.browser import wait_until


def _links(page: str) -> list[str]:
    links = re.findall(r'(?:href|src)="([^"]*)"', page)
    for srcset in re.findall(r'srcset="([^"]*)"', page):
        links += [entry.split()[0] for entry in srcset.split(",")]
    return [html.unescape(link) for link in links]


def test_every_link_is_to_a_file_of_the_pack(full_pack: Path) -> None:
    record = full_pack / "record"
    pages = {path: html.unescape(path.read_text(encoding="utf-8")) for path in record.rglob("*.html")}
    assert {path.name for path in pages} == {"index.html", "methods.html"}
    checked = 0
    for path, page in pages.items():
        for link in _links(page):
            parts = urlsplit(link)
            assert parts.scheme == "data" or not (parts.scheme or parts.netloc), link
            if parts.path and not parts.scheme:
                target = (path.parent / unquote(parts.path)).resolve()
                assert target.is_file(), link
                assert target.is_relative_to(full_pack.resolve()), link
                checked += 1
                if parts.fragment and target.suffix == ".html":
                    assert f'id="{parts.fragment}"' in pages[target], link
    assert checked > 40


def test_nothing_of_another_engine_is_in_the_pack(full_pack: Path) -> None:
    for path in full_pack.rglob("*"):
        if path.is_file():
            content = path.read_bytes()
            assert b"other engine" not in content
            assert b"X-9999" not in content
            assert b"finder" not in path.name.encode()


def test_the_record_without_photos_is_below_5_mb(full_pack: Path) -> None:
    pictures = (".jpg", ".jpeg", ".png")
    size = sum(p.stat().st_size for p in (full_pack / "record").rglob("*") if p.is_file() and p.suffix not in pictures)
    assert size < 5_000_000


@pytest.mark.browser
def test_values_are_read_off_the_power_chart_of_the_record(full_pack: Path, chromium: Any) -> None:
    context = chromium.new_context()
    messages: list[str] = []
    page = context.new_page()
    page.on("console", lambda message: messages.append(message.text))
    page.goto((full_pack / "record" / "index.html").as_uri())
    page.locator(".mb-curves").scroll_into_view_if_needed()
    page.wait_for_selector(".mb-curves[data-ready]")
    before = page.locator(".mb-read-speed").inner_text()
    page.locator(".mb-curves").get_by_role("slider").focus()
    page.keyboard.press("ArrowRight")
    assert page.locator(".mb-read-speed").inner_text() != before
    assert messages == []
    context.close()


@pytest.mark.browser
@pytest.mark.parametrize("page_name", ["index.html", "methods.html"])
def test_pages_open_as_files_without_a_network(full_pack: Path, chromium: Any, page_name: str) -> None:
    context = chromium.new_context()
    context.set_offline(True)
    page = context.new_page()
    requests, failures, errors = [], [], []
    page.on("request", lambda request: requests.append(request.url))
    page.on("requestfailed", lambda request: failures.append(request.url))
    page.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto((full_pack / "record" / page_name).resolve().as_uri())
    page.wait_for_load_state("load")
    assert requests
    assert all(url.startswith(("file:", "data:")) for url in requests)
    assert not failures
    assert not errors
    heading = page.locator("h1").first.inner_text()
    if page_name == "index.html":
        assert heading.startswith("Engine for the pilot launch")
        page.evaluate("document.querySelectorAll('img').forEach(image => image.loading = 'eager')")
        wait_until(page, "[...document.images].every(image => image.complete)")
        broken = page.evaluate("[...document.images].filter(i => i.src && !i.naturalWidth).map(i => i.src)")
        assert broken == []
        assert page.evaluate("document.images.length") > 10
        figure = page.locator("details#compression_ratio")
        page.locator("details.mb-fold", has=figure).locator("> summary").click()
        figure.locator("> summary").click()
        assert figure.locator(".mb-working").is_visible()
        figure.get_by_role("link", name="How we calculate this").click()
        page.wait_for_url("**/methods.html#*")
    assert page.locator('[data-md-component="search"]').count() == 0
    context.close()
