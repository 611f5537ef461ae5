"""The offline record: opened as a file in a browser without any network, complete, and of one engine alone."""

from __future__ import annotations

import html
import re
import shutil
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import pytest

from builder.handover.packs import handover
from tests.support.browser import wait_until
from tests.support.handover_samples import FULL, archive_with, load_yaml, write_yaml


@pytest.fixture(scope="module")
def pack(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A pack below a folder whose name browsers have to quote."""
    archive = archive_with(tmp_path_factory.mktemp("off line & 100%"))
    other = archive / "builds" / "other-engine"
    shutil.copytree(archive / "builds" / FULL, other)
    sheet = load_yaml(archive, "other-engine", "build")
    write_yaml(other / "build.yaml", sheet | {"title": "The other engine", "number": "X-9999"})
    outcome = handover(archive, (FULL,))
    assert outcome.ok, outcome.lines
    return archive / "handover" / FULL


def _links(page: str) -> list[str]:
    found = re.findall(r'(?:href|src)="([^"]*)"', page)
    for srcset in re.findall(r'srcset="([^"]*)"', page):
        found += [entry.split()[0] for entry in srcset.split(",")]
    return [html.unescape(link) for link in found]


def test_every_link_leads_to_a_file_of_the_pack(pack: Path) -> None:
    record = pack / "record"
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
                assert target.is_relative_to(pack.resolve()), link
                checked += 1
                if parts.fragment and target.suffix == ".html":
                    assert f'id="{parts.fragment}"' in pages[target], link
    assert checked > 40


def test_it_knows_of_no_other_engine(pack: Path) -> None:
    for path in pack.rglob("*"):
        if path.is_file():
            content = path.read_bytes()
            assert b"other engine" not in content
            assert b"X-9999" not in content
            assert b"finder" not in path.name.encode()


def test_it_is_small(pack: Path) -> None:
    pictures = (".jpg", ".jpeg", ".png")
    size = sum(p.stat().st_size for p in (pack / "record").rglob("*") if p.is_file() and p.suffix not in pictures)
    assert size < 5_000_000


@pytest.mark.browser
@pytest.mark.parametrize("page_name", ["index.html", "methods.html"])
def test_it_opens_by_double_click_without_any_network(pack: Path, chromium: Any, page_name: str) -> None:
    context = chromium.new_context()
    context.set_offline(True)
    page = context.new_page()
    asked, failed, said = [], [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("requestfailed", lambda request: failed.append(request.url))
    page.on("console", lambda message: said.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto((pack / "record" / page_name).resolve().as_uri())
    page.wait_for_load_state("load")
    assert asked
    assert all(url.startswith(("file:", "data:")) for url in asked)
    assert not failed
    assert not said
    heading = page.locator("h1").first.inner_text()
    if page_name == "index.html":
        assert heading.startswith("Engine for the pilot launch")
        page.evaluate("document.querySelectorAll('img').forEach(image => image.loading = 'eager')")
        wait_until(page, "[...document.images].every(image => image.complete)")
        broken = page.evaluate("[...document.images].filter(i => i.src && !i.naturalWidth).map(i => i.src)")
        assert broken == []
        assert page.evaluate("document.images.length") > 10
        page.locator("#compression_ratio summary").click()
        assert page.locator("#compression_ratio .mb-working").is_visible()
        page.get_by_role("link", name="How it is computed").first.click()
        page.wait_for_url("**/methods.html#*")
    assert page.locator('[data-md-component="search"]').count() == 0
    context.close()
